// A button that opens the browser's own print dialogue; hidden where scripts do not run.
"use strict";

document.querySelectorAll("button[data-print]").forEach((button) => {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
});
