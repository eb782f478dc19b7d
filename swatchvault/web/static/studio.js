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
});
window.addEventListener("pageshow", () => {
  document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent);
});
