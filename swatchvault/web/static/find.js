// The picker: sliders, numbers and the plane show one colour, and only such as a surface can have.
"use strict";

(() => {
  const form = document.getElementById("search");
  const field = (name) => document.getElementById(`n-${name}`);
  const slides = Object.fromEntries(
    [...form.querySelectorAll("input[type=range]")].map((s) => [s.dataset.of, s]));
  const place = document.getElementById("plane");
  const rect = document.querySelector("#chip rect");
  const screenWords = document.getElementById("screen");
  const rad = Math.PI / 180;
  let drawnFor = Math.round(Number(field("l").value)), waiting = 0;

  form.querySelectorAll("[hidden]").forEach((e) => { if (e.type !== "hidden") e.hidden = false; });
  place.classList.add("live");

  // CIELAB D65 to sRGB (IEC 61966-2-1), as the server does it.
  function srgb(L, a, b) {
    const fy = (L + 16) / 116;
    const back = (f) => (f > 6 / 29 ? f ** 3 : 3 * (6 / 29) ** 2 * (f - 4 / 29));
    const X = 0.95047 * back(fy + a / 500), Y = back(fy), Z = 1.08883 * back(fy - b / 200);
    const linear = [
      3.2406 * X - 1.5372 * Y - 0.4986 * Z,
      -0.9689 * X + 1.8758 * Y + 0.0415 * Z,
      0.0557 * X - 0.204 * Y + 1.057 * Z,
    ];
    const shown = linear.every((v) => v >= -0.0015 && v <= 1.0015);
    const coded = linear.map((v) => {
      const c = Math.min(1, Math.max(0, v));
      return Math.round(255 * (c <= 0.0031308 ? 12.92 * c : 1.055 * c ** (1 / 2.4) - 0.055));
    });
    return { hex: "#" + coded.map((v) => v.toString(16).padStart(2, "0")).join(""), shown };
  }

  function most(h) {
    const svg = place.querySelector("svg");
    const limits = svg ? svg.dataset.limit.split(" ").map(Number) : [];
    if (!limits.length) return 170;
    const at = (((h % 360) + 360) % 360) * limits.length / 360, i = Math.floor(at);
    const share = at - i;
    return limits[i % limits.length] * (1 - share) + limits[(i + 1) % limits.length] * share;
  }

  function value(name) {
    const said = Number(String(field(name).value).replace(",", "."));
    return Number.isFinite(said) ? said : 0;
  }

  function draw(except) {
    const L = Math.min(100, Math.max(0, value("l")));
    const h = ((value("h") % 360) + 360) % 360;
    const limit = most(h);
    const C = Math.min(Math.max(0, value("c")), limit);
    if (C < value("c")) field("c").value = (Math.floor(C * 10) / 10).toFixed(1);
    const a = C * Math.cos(h * rad), b = C * Math.sin(h * rad);
    slides.l.value = L;
    slides.c.max = Math.max(1, Math.floor(limit));
    slides.c.value = C;
    slides.h.value = h;
    if (except !== "ab") {
      field("a").value = a.toFixed(1);
      field("b").value = b.toFixed(1);
    }
    const colour = srgb(L, a, b);
    if (rect) rect.setAttribute("fill", colour.hex);
    const words = colour.shown ? "" : "No screen shows this colour as it is.";
    if (screenWords.textContent !== words) screenWords.textContent = words;
    const spot = place.querySelector(".spot");
    if (spot) spot.setAttribute("transform", `translate(${a.toFixed(1)} ${(-b).toFixed(1)})`);
    if (Math.round(L) !== drawnFor) {
      clearTimeout(waiting);
      waiting = setTimeout(() => replane(Math.round(L)), 120);
    }
  }

  async function replane(L) {
    drawnFor = L;
    try {
      const answer = await fetch(`/find/plane?l=${L}`);
      if (!answer.ok || drawnFor !== L) return;
      const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml");
      place.replaceChildren(document.importNode(svg.documentElement, true));
      draw();
    } catch (error) {
      drawnFor = -1; // the next move asks again
    }
  }

  function fromAB() {
    const a = value("a"), b = value("b");
    field("c").value = Math.hypot(a, b).toFixed(1);
    field("h").value = (((Math.atan2(b, a) / rad) + 360) % 360).toFixed(1);
    draw("ab");
  }

  Object.entries(slides).forEach(([name, slide]) => slide.addEventListener("input", () => {
    field(name).value = slide.value;
    draw();
  }));
  ["l", "h"].forEach((n) => field(n).addEventListener("input", () => draw()));
  field("c").addEventListener("change", () => draw());
  form.querySelectorAll("[data-ab]").forEach((f) => f.addEventListener("change", fromAB));

  function pick(event) {
    const svg = place.querySelector("svg");
    if (!svg) return;
    const box = svg.getBoundingClientRect(), view = svg.viewBox.baseVal;
    const x = view.x + (event.clientX - box.left) / box.width * view.width;
    const y = view.y + (event.clientY - box.top) / box.height * view.height;
    field("a").value = x.toFixed(1);
    field("b").value = (-y).toFixed(1);
    fromAB();
    draw();
  }
  place.addEventListener("pointerdown", (event) => {
    if (!event.target.closest("svg")) return;
    place.setPointerCapture(event.pointerId);
    pick(event);
  });
  place.addEventListener("pointermove", (event) => {
    if (place.hasPointerCapture(event.pointerId)) pick(event);
  });

  // Enter in the picker finds the colour picked, whatever else is typed on the page.
  form.querySelector(".picker").addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    fromField(event.target);
    form.requestSubmit(document.getElementById("by-colour"));
  });
  function fromField(target) {
    if ("ab" in target.dataset) fromAB();
    else draw();
  }
  form.querySelector("[name=what]").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    form.requestSubmit(form.querySelector("button[value=typed]"));
  });
  draw();
})();
