// What every page needs: the wall loads on by itself, and a form is sent once.
"use strict";

function loadOnBy(link) {
  const watcher = new IntersectionObserver(async (seen) => {
    if (!seen.some((entry) => entry.isIntersecting)) return;
    watcher.disconnect();
    const address = new URL(link.href);
    address.searchParams.set("part", "1");
    try {
      const answer = await fetch(address);
      if (!answer.ok) return;
      const held = document.createElement("template");
      held.innerHTML = await answer.text();
      const item = link.closest("li");
      const next = held.content.querySelector("a[data-more]");
      item.replaceWith(held.content);
      if (next) loadOnBy(next);
    } catch (error) {
      // The link stays and can be followed by hand.
    }
  }, { rootMargin: "800px" });
  watcher.observe(link);
}

document.querySelectorAll("a[data-more]").forEach(loadOnBy);

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || (form.method || "get") !== "post") return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  if (!form.hasAttribute("data-in-place")) return;
  event.preventDefault();
  sendInPlace(form, event.submitter);
});

// A refusal comes back into this page, so that no step back leads to a form to be sent anew.
async function sendInPlace(form, button) {
  let answer = null;
  let page = null;
  try {
    answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form, button)) });
    if (answer.redirected) {
      document.dispatchEvent(new Event("taken"));
      location.href = answer.url;
      return;
    }
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch (error) {
    const lost = form.querySelector(".lost") || document.createElement("p");
    lost.className = "lost caution said";
    lost.setAttribute("role", "alert");
    lost.textContent = "The connection was lost: send it again when it is back. What is typed here stays.";
    form.append(lost);
    delete form.dataset.sent;
    return;
  }
  const main = document.importNode(page.querySelector("main"), true);
  document.querySelector("main").replaceWith(main);
  document.title = page.title;
  const asked = main.querySelector("[autofocus]");
  if (asked) asked.focus();
  else window.scrollTo(0, 0);
  document.dispatchEvent(new Event("came-back"));
}
window.addEventListener("pageshow", () => {
  document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent);
});
