// A part more or less without a new page: the same form is asked for and put in its place.
"use strict";

async function reshape(form, button) {
  const told = new FormData(form, button);
  const answer = await fetch(button.formAction, { method: "POST", body: new URLSearchParams(told) });
  const held = new DOMParser().parseFromString(await answer.text(), "text/html");
  const next = held.getElementById("recipe");
  if (!next) throw new Error("no form came back");
  form.replaceWith(document.adoptNode(next));
  const place = next.querySelector(new URL(button.formAction).hash) || next;
  const first = place.querySelector("input:not([type=hidden]), button");
  if (first) first.focus();
}

document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!button || button.name !== "do") return;
  event.preventDefault();
  const form = event.target;
  reshape(form, button).catch(() => {
    // Sent as a page of its own, as it is without a script.
    const what = document.createElement("input");
    Object.assign(what, { type: "hidden", name: "do", value: button.value });
    form.append(what);
    form.action = button.formAction;
    form.submit();
  });
}, true);
