// What is typed into a form with data-keep outlives a slip of the thumb: a link, a step back, a page
// loaded anew. It stays in this tab alone, until the form is taken or emptied.
"use strict";

(() => {
  const PREFIX = "studio-typed:";
  const NO_FIELD = ["hidden", "file", "submit", "button", "fieldset"];
  const place = location.pathname + location.search;
  const keyOf = (form) => `${PREFIX}${place} ${form.dataset.keep}`;
  const fieldsOf = (form) => [...form.elements].filter((f) => f.name && !NO_FIELD.includes(f.type));
  const told = (field) => (field.type === "checkbox" ? field.checked : field.value);

  // sessionStorage may be closed to us: then nothing is kept, and all else works.
  function stored(key) {
    try {
      return JSON.parse(sessionStorage.getItem(key));
    } catch (error) {
      return null;
    }
  }

  function store(key, value) {
    try {
      if (value) sessionStorage.setItem(key, JSON.stringify(value));
      else sessionStorage.removeItem(key);
    } catch (error) {
      // see above
    }
  }

  function keys() {
    try {
      return Object.keys(sessionStorage).filter((key) => key.startsWith(PREFIX));
    } catch (error) {
      return [];
    }
  }

  function keep(form, sent) {
    store(keyOf(form), { sent, fields: fieldsOf(form).map((f) => [f.name, told(f)]) });
  }

  // -- a form that was sent: taken where it led on to a page, as every form that is stored does ------

  function forgetSent() {
    keys().filter((key) => stored(key)?.sent).forEach((key) => store(key, null));
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.getAttribute("action") === "/leave") keys().forEach((key) => store(key, null));
    const shaped = event.submitter?.name === "do"; // a part more or less: nothing is sent
    if ("keep" in form.dataset && !shaped) keep(form, true);
  }, true);

  // -- and one that was not: filled in again --------------------------------------------------------

  // Parts that were added are not in a fresh form: the server lays it out for what was typed.
  async function laidOut(form, fields) {
    const has = new Set(fieldsOf(form).map((f) => f.name));
    if (!form.dataset.layOut || fields.every(([name]) => has.has(name))) return form;
    const body = new URLSearchParams(new FormData(form));
    fields.forEach(([name, value]) => body.set(name, value));
    body.set("do", form.dataset.layOut);
    const answer = await fetch(form.action, { method: "POST", body });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const next = page.querySelector(`form[data-keep="${form.dataset.keep}"]`);
    if (!next) return form;
    form.replaceWith(document.adoptNode(next));
    return next;
  }

  async function fillIn(form) {
    const was = stored(keyOf(form));
    if (!was || document.querySelector("main [role=alert]")) return; // a refusal holds what was typed
    const fresh = new Map(fieldsOf(form).map((f) => [f.name, told(f)]));
    if (was.fields.every(([name, value]) => (fresh.get(name) ?? "") === value)) return;
    let shown = form;
    try {
      shown = await laidOut(form, was.fields);
    } catch (error) {
      // Without a connection the fields that are here are filled in.
    }
    const typed = new Map(was.fields);
    for (const field of fieldsOf(shown)) {
      if (!typed.has(field.name)) continue;
      const value = typed.get(field.name);
      if (field.type === "checkbox") field.checked = value;
      else field.value = value;
      if (value !== (fresh.get(field.name) ?? "")) {
        for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
      }
    }
    say(shown);
  }

  function say(form) {
    const line = document.createElement("p");
    line.className = "said typed-again";
    line.setAttribute("role", "status");
    line.append("What was typed here and not sent is back. ");
    const empty = document.createElement("button");
    empty.type = "button";
    empty.textContent = "Begin anew";
    empty.addEventListener("click", () => {
      store(keyOf(form), null);
      location.reload();
    });
    line.append(empty);
    form.prepend(line);
  }

  for (const what of ["input", "change"]) {
    document.addEventListener(what, (event) => {
      const form = event.target.form;
      if (form && "keep" in form.dataset) keep(form, false);
    });
  }
  document.addEventListener("came-back", () => {
    document.querySelectorAll("form[data-keep]").forEach((form) => keep(form, false));
  });
  document.addEventListener("taken", forgetSent);
  if (performance.getEntriesByType("navigation")[0]?.redirectCount) forgetSent();
  document.querySelectorAll("form[data-keep]").forEach(fillIn);
})();
