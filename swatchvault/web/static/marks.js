// Marks over a photo: by touch, mouse, keyboard, or numbers. The text field holds what is sent.
"use strict";

(() => {
  const $ = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const stage = $("stage"), picture = $("picture"), over = $("over"), glass = $("glass");
  const field = $("marks"), told = $("told"), form = $("marking");
  const KINDS = { swatch: "swatch", card: "grey card", steps: "steps", chart24: "chart", scale: "length" };
  const OUT = 26; // px on the screen by which a handle stands off its corner, so that both are seen
  const ZOOM = 3; // of the magnifier, against the picture on the screen
  let regions = [], r = 0, p = 0, c = 0; // chosen: region, polygon of it, corner of that
  let handles = [];

  // ---- text to regions and back ---------------------------------------------------------------

  let lengthRead;  // the length as it was read: a swatch's own millimetres stand only beside it

  function read(text) {
    const marks = JSON.parse(text);
    lengthRead = undefined;
    const out = [];
    for (const one of marks.references || []) {
      const { kind, polygon, patches, corners, ...rest } = one;
      out.push({ kind, polys: kind === "steps" ? patches : [kind === "card" ? polygon : corners], ...rest });
    }
    for (const { name, polygon, ...rest } of marks.swatches || []) out.push({ kind: "swatch", name: name || "swatch", polys: [polygon], ...rest });
    if (marks.scale) out.push({ kind: "scale", mm: marks.scale.mm, polys: [[marks.scale.from, marks.scale.to]] });
    for (const one of out) {
      if (!one.polys.length || !one.polys.every((q) => q.length > 1 && q.every((xy) => xy.every(Number.isFinite)))) throw new Error("a place is missing");
    }
    return out;
  }

  function asText() {
    const marks = { references: [], swatches: [] };
    const round = (q) => q.map(([x, y]) => [+x.toFixed(5), +y.toFixed(5)]);
    for (const { kind, polys, name, ...rest } of regions) {
      const q = polys.map(round);
      if (kind === "swatch") marks.swatches.push({ name, polygon: q[0], ...(rest.across_mm && { across_mm: rest.across_mm }) });
      else if (kind === "scale") marks.scale = { from: q[0][0], to: q[0][1], mm: rest.mm };
      else if (kind === "steps") marks.references.push({ kind, patches: q, ...rest });
      else marks.references.push({ kind, [kind === "card" ? "polygon" : "corners"]: q[0], ...rest });
    }
    const length = JSON.stringify(marks.scale) || "";
    if (lengthRead === undefined) lengthRead = length;
    else if (length !== lengthRead) marks.swatches.forEach((one) => delete one.across_mm);
    return JSON.stringify(marks);
  }

  function write() {
    field.value = asText();
    tellBare();
    const crossing = regions.find((one) => one.polys.some(crosses));
    told.textContent = crossing ? `The outline of ${title(crossing)} crosses itself: bring its corners into order around it.` : "";
  }

  // Without a reference Measure fails, unless that is wanted: said before the button.
  function tellBare() {
    if (!$("bare")) return; // none is needed
    const waived = form.elements.no_card.checked || form.elements.light.value === "black light";
    $("bare").hidden = waived || regions.some((one) => !["swatch", "scale"].includes(one.kind));
  }

  function crosses(q) {
    const turn = (a, b, d) => (b[0] - a[0]) * (d[1] - a[1]) - (b[1] - a[1]) * (d[0] - a[0]);
    const n = q.length;
    for (let i = 0; i < n; i += 1) {
      for (let j = i + 2; j < n; j += 1) {
        if (i === 0 && j === n - 1) continue;
        const [a, b, d, e] = [q[i], q[(i + 1) % n], q[j], q[(j + 1) % n]];
        if (turn(a, b, d) * turn(a, b, e) < 0 && turn(d, e, a) * turn(d, e, b) < 0) return true;
      }
    }
    return false;
  }

  // ---- drawing --------------------------------------------------------------------------------

  const plain = form.dataset.of === "liquor"; // its regions are no swatches, and have their names alone
  const title = (one) => (one.kind !== "swatch" ? KINDS[one.kind] : plain || /^swatch/i.test(one.name) ? one.name : `swatch ${one.name}`);
  const chosen = () => regions[r] && regions[r].polys[p];
  const part = (one, i) => title(one) + (one.kind === "steps" ? ` ${i + 1}` : "");
  const percent = (v) => (100 * v).toFixed(1);

  function make(tag, facts = {}, ...inside) {
    const e = document.createElement(tag);
    for (const [k, v] of Object.entries(facts)) {
      if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
      else e.setAttribute(k, v);
    }
    e.append(...inside);
    return e;
  }

  function drawShapes() {
    const w = picture.naturalWidth || 1600, h = picture.naturalHeight || 1200;
    over.setAttribute("viewBox", `0 0 ${w} ${h}`);
    const shapes = [];
    const add = (tag, facts, words) => {
      const e = document.createElementNS(SVG, tag);
      for (const [k, v] of Object.entries(facts)) e.setAttribute(k, v);
      if (words) e.textContent = words;
      shapes.push(e);
      return e;
    };
    regions.forEach((one, i) => one.polys.forEach((q, j) => {
      const points = q.map(([x, y]) => `${x * w},${y * h}`).join(" ");
      const is = i === r && j === p ? " chosen" : "";
      add("polygon", { points, class: "rim" });
      add("polygon", { points, class: `edge${is}` }).addEventListener("click", () => choose(i, j, 0));
      if (j === 0) {
        const size = (15 * w) / Math.max(stage.clientWidth, 1);
        const x = Math.min(...q.map((xy) => xy[0])) * w, y = Math.min(...q.map((xy) => xy[1])) * h;
        const below = (Math.max(...q.map((xy) => xy[1])) * h) + 1.3 * size;
        add("text", { x, y: one.kind === "scale" ? Math.min(below, h - 4) : Math.max(y - size / 2, size), "font-size": size }, one.kind === "swatch" ? one.name : KINDS[one.kind]);
      }
    }));
    over.replaceChildren(...shapes);
  }

  function buildHandles() {
    const q = chosen() || [];
    handles = q.map((_, i) => handle("corner", i));
    if (q.length > 2) handles.push(handle("whole", -1));
    $("handles").replaceChildren(...handles);
  }

  function middle(q) {
    return [0, 1].map((k) => q.reduce((sum, xy) => sum + xy[k], 0) / q.length);
  }

  // The way out of the outline at a corner, in px of the screen, so that handles stand apart.
  function outward(q, i, w, h) {
    const n = q.length, at = (k) => [q[(k + n) % n][0] * w, q[(k + n) % n][1] * h];
    const [a, b, d] = [at(i - 1), at(i), at(i + 1)];
    let area = 0;
    for (let k = 0; k < n; k += 1) area += at(k)[0] * at(k + 1)[1] - at(k + 1)[0] * at(k)[1];
    const side = n > 2 ? Math.sign(area) || 1 : 0;
    let out = n > 2 ? [0, 0] : [b[0] - a[0], b[1] - a[1]];
    for (const [from, to] of n > 2 ? [[a, b], [b, d]] : []) {
      const far = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1;
      out = [out[0] + (side * (to[1] - from[1])) / far, out[1] - (side * (to[0] - from[0])) / far];
    }
    const long = Math.hypot(...out) || 1;
    return out.map((v) => (OUT * v) / long);
  }

  function placeHandles() {
    const q = chosen();
    if (!q) return;
    const w = stage.clientWidth, h = stage.clientHeight, mid = middle(q);
    handles.forEach((e, i) => {
      const whole = i >= q.length;
      const [x, y] = whole ? mid : q[i];
      const [dx, dy] = whole ? [0, 0] : outward(q, i, w, h);
      e.style.left = `${Math.min(Math.max(x * w + dx, 8), w - 8)}px`;
      e.style.top = `${Math.min(Math.max(y * h + dy, 8), h - 8)}px`;
      const name = part(regions[r], p);
      e.setAttribute("aria-label", whole ? `All of ${name}` : `Corner ${i + 1} of ${name}, ${percent(x)} % across, ${percent(y)} % down`);
      e.setAttribute("aria-pressed", String(!whole && i === c));
    });
  }

  // The magnifier stands above the finger, or beside it near the upper rim.
  function showGlass([x, y]) {
    const box = stage.getBoundingClientRect(), side = 160;
    const px = x * box.width, py = y * box.height;
    let left = px - side / 2, top = py - side - 56;
    if (top < 0 || box.top + top < 0) {
      top = Math.max(py - side / 2, -box.top, 0);
      left = px < box.width / 2 ? px + 64 : px - side - 64;
    }
    glass.style.left = `${Math.min(Math.max(left, 0), box.width - side)}px`;
    glass.style.top = `${Math.min(Math.max(top, 0), Math.max(box.height - side, 0))}px`;
    glass.hidden = false;
    const w = picture.naturalWidth, h = picture.naturalHeight, g = glass.getContext("2d");
    const scale = (ZOOM * box.width) / w, wide = side / scale;
    g.fillStyle = "#808080";
    g.fillRect(0, 0, side, side);
    g.drawImage(picture, x * w - wide / 2, y * h - wide / 2, wide, wide, 0, 0, side, side);
    const q = chosen();
    for (const [colour, thick] of [["#000", 4], ["#fff", 1.5]]) {
      g.strokeStyle = colour;
      g.lineWidth = thick;
      g.beginPath();
      q.forEach(([a, b], i) => g[i ? "lineTo" : "moveTo"]((a - x) * w * scale + side / 2, (b - y) * h * scale + side / 2));
      g.closePath();
      g.moveTo(side / 2 - 14, side / 2);
      g.lineTo(side / 2 + 14, side / 2);
      g.moveTo(side / 2, side / 2 - 14);
      g.lineTo(side / 2, side / 2 + 14);
      g.stroke();
    }
  }

  // ---- moving ---------------------------------------------------------------------------------

  const within = (v) => Math.min(Math.max(v, 0), 1);

  function moveBy(i, dx, dy) {
    const q = chosen();
    if (i >= 0) {
      q[i] = [within(q[i][0] + dx), within(q[i][1] + dy)];
    } else {
      const xs = q.map((xy) => xy[0]), ys = q.map((xy) => xy[1]);
      dx = Math.min(Math.max(dx, -Math.min(...xs)), 1 - Math.max(...xs));
      dy = Math.min(Math.max(dy, -Math.min(...ys)), 1 - Math.max(...ys));
      q.forEach((xy, k) => { q[k] = [xy[0] + dx, xy[1] + dy]; });
    }
    moved();
  }

  function moved() {
    drawShapes();
    placeHandles();
    fillNumbers();
    write();
  }

  function handle(kind, i) {
    const e = make("button", { type: "button", class: kind });
    let last = null;
    e.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      e.setPointerCapture(event.pointerId);
      e.focus({ preventScroll: true });
      last = [event.clientX, event.clientY];
      if (i >= 0) { c = i; placeHandles(); showGlass(chosen()[i]); }
    });
    e.addEventListener("pointermove", (event) => {
      if (!last) return;
      const box = stage.getBoundingClientRect();
      moveBy(i, (event.clientX - last[0]) / box.width, (event.clientY - last[1]) / box.height);
      last = [event.clientX, event.clientY];
      if (i >= 0) showGlass(chosen()[i]);
    });
    for (const end of ["pointerup", "pointercancel"]) {
      e.addEventListener(end, () => { last = null; glass.hidden = true; });
    }
    e.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const far = event.shiftKey ? 10 : 1;
      moveBy(i, (way[0] * far) / picture.naturalWidth, (way[1] * far) / picture.naturalHeight);
      if (i >= 0) showGlass(chosen()[i]);
    });
    e.addEventListener("focus", () => { if (i >= 0) { c = i; placeHandles(); } });
    e.addEventListener("blur", () => { glass.hidden = true; });
    return e;
  }

  // ---- the list and the numbers ---------------------------------------------------------------

  function choose(i, j, k) {
    [r, p, c] = [i, j, k];
    draw();
  }

  function input(words, value, change, facts = {}) {
    return make("label", {}, words, make("input", { value: value ?? "", autocomplete: "off", oninput: (e) => { change(e.target.value); drawShapes(); write(); }, ...facts }));
  }

  // Between spaces or semicolons a comma is decimal: 0,9 0,59.
  const numbers = (text) => text.trim().split(/\s*;\s*|,?\s+/).flatMap((one) => (/^\d+,\d+$/.test(one) ? [one.replace(",", ".")] : one.split(","))).filter(Boolean).map(Number);
  const number = { inputmode: "decimal" };

  function values(one) {
    if (one.kind === "card") return input("Reflects, % (18 if blank)", one.y ? +(100 * one.y).toFixed(2) : "", (t) => { if (t.trim()) { one.y = Number(t.replace(",", ".")) / 100; delete one.lab_d50; } else delete one.y; }, number);
    if (one.kind === "steps") return input("What the steps reflect, 0 to 1, lightest first", (one.y || []).join(" "), (t) => { const y = numbers(t); if (y.length) { one.y = y; delete one.lab_d50; } else delete one.y; }, { placeholder: form.dataset.steps || "0.9 0.59 0.36 0.2 0.09 0.03", "aria-describedby": "steps-are" });
    if (one.kind === "scale") return input("How long it is, mm", one.mm, (t) => { one.mm = t.trim() ? Number(t.replace(",", ".")) : null; }, number);
    if (one.kind !== "chart24") return "";
    const pick = make("select", { onchange: (e) => { if (e.target.value) { one.edition = e.target.value; delete one.lab_d50; } else delete one.edition; write(); } }, make("option", { value: "" }, "after 2014, or my own values"), make("option", { value: "before-2014-11" }, "before November 2014"));
    pick.value = one.edition === "before-2014-11" ? one.edition : "";
    return make("label", {}, "Edition", pick);
  }

  // What steps are taken to be where nothing is typed.
  function blankSteps() {
    const { steps, stepsOf } = form.dataset;
    return steps ? `Blank: what the set-up below has for its steps; where it has none, ${steps}${stepsOf ? `, of your ${stepsOf}` : ", as the photo was last read"}. ` : "Blank: what the set-up below has for its steps. ";
  }

  function listRegions() {
    $("regions").replaceChildren(...regions.map((one, i) => {
      const is = i === r;
      const pick = make("button", { type: "button", "aria-pressed": String(is), onclick: () => choose(i, 0, 0) }, title(one));
      const drop = make("button", { type: "button", "aria-label": `Remove ${title(one)}`, onclick: () => { regions.splice(i, 1); choose(Math.max(Math.min(r, regions.length - 1), 0), 0, 0); } }, "Remove");
      const li = make("li", is ? { class: "chosen" } : {}, make("div", { class: "line" }, pick, drop));
      if (is) {
        const line = make("div", { class: "line" });
        if (one.kind === "swatch") line.append(input("Name of the region", one.name, (t) => { one.name = t; pick.textContent = title(one); }, { list: "names" }));
        else line.append(values(one));
        li.append(line);
        if (one.kind === "steps") li.append(make("p", { class: "quiet", id: "steps-are" }, blankSteps(), "Of each step the share of light that it sends back: white near 0.9, middle grey 0.18, black near 0.03. It is printed on the strip or on its leaflet; where that gives a density D, it is 10 to the power -D (0.05 is 0.89, 0.7 is 0.2)."));
        if (one.polys.length > 1) li.append(make("div", { class: "line" }, ...one.polys.map((_, j) => make("button", { type: "button", "aria-pressed": String(j === p), "aria-label": part(one, j), onclick: () => choose(i, j, 0) }, String(j + 1)))));
      }
      return li;
    }));
  }

  function listNumbers() {
    const q = chosen();
    $("corners").hidden = !q;
    if (!q) return;
    const one = regions[r];
    $("corners-are").textContent = `Corners of ${part(one, p)}`;
    $("more-corners").hidden = !["swatch", "card", "steps"].includes(one.kind);
    $("more-steps").hidden = one.kind !== "steps";
    const cell = (i, k) => make("label", {}, k ? "down" : `${i + 1}: across`, make("input", {
      type: "number", min: 0, max: 100, step: 0.1, "aria-label": `Corner ${i + 1}, ${k ? "down" : "across"}, %`,
      onfocus: () => { c = i; placeHandles(); },
      oninput: (e) => {
        const v = Number(e.target.value);
        if (e.target.value === "" || !Number.isFinite(v)) return;
        chosen()[i][k] = v / 100;
        drawShapes();
        placeHandles();
        write();
      },
    }));
    $("numbers").replaceChildren(...q.map((_, i) => make("div", { class: "line" }, cell(i, 0), cell(i, 1))));
    fillNumbers();
  }

  function fillNumbers() {
    const q = chosen() || [];
    [...$("numbers").querySelectorAll("input")].forEach((e, i) => {
      if (e !== document.activeElement && q[i >> 1]) e.value = percent(q[i >> 1][i & 1]);
    });
  }

  function draw() {
    if (r >= regions.length) [r, p, c] = [0, 0, 0];
    drawShapes();
    buildHandles();
    placeHandles();
    listRegions();
    listNumbers();
    write();
  }

  // ---- buttons --------------------------------------------------------------------------------

  const square = (x, y, w, h) => [[x, y], [x + w, y], [x + w, y + h], [x, y + h]];

  function fresh(kind) {
    if (kind === "steps") return { kind, polys: [0, 1, 2, 3, 4, 5].map((i) => square(0.16 + 0.12 * i, 0.8, 0.06, 0.1)) };
    if (kind === "scale") return { kind, mm: null, polys: [[[0.2, 0.9], [0.8, 0.9]]] };
    if (kind !== "swatch") return { kind, polys: [kind === "card" ? square(0.1, 0.1, 0.2, 0.25) : square(0.2, 0.1, 0.6, 0.3)] };
    const names = regions.map((one) => one.name);
    const asked = (form.dataset.names || "").split(",").filter(Boolean);
    let name = asked.find((one) => !names.includes(one)) || "swatch";
    for (let n = 2; names.includes(name); n += 1) name = `swatch ${n}`;
    return { kind, name, polys: [square(0.3, 0.35, 0.35, 0.35)] };
  }

  $("add").addEventListener("click", () => {
    const kind = $("kind").value;
    if (kind === "scale" && regions.some((one) => one.kind === "scale")) regions = regions.filter((one) => one.kind !== "scale");
    regions.push(fresh(kind));
    choose(regions.length - 1, 0, 0);
    told.textContent = `Added: ${title(regions[r])}. Bring its corners to where it is.`;
  });
  $("corner-add").addEventListener("click", () => {
    const q = chosen(), next = q[(c + 1) % q.length];
    q.splice(c + 1, 0, [(q[c][0] + next[0]) / 2, (q[c][1] + next[1]) / 2]);
    choose(r, p, c + 1);
  });
  $("corner-drop").addEventListener("click", () => {
    const q = chosen();
    if (q.length < 4) { told.textContent = "An outline has at least three corners."; return; }
    q.splice(c, 1);
    choose(r, p, 0);
  });
  $("step-add").addEventListener("click", () => {
    const polys = regions[r].polys, last = polys[polys.length - 1];
    polys.push(last.map(([x, y]) => [within(x + 0.05), y]));
    choose(r, polys.length - 1, 0);
  });
  $("step-drop").addEventListener("click", () => {
    const polys = regions[r].polys;
    if (polys.length < 3) { told.textContent = "Steps are at least two."; return; }
    polys.splice(p, 1);
    choose(r, 0, 0);
  });
  $("step-spread").addEventListener("click", () => {
    const polys = regions[r].polys, first = polys[0], last = polys[polys.length - 1];
    if (first.length !== last.length) { told.textContent = "Give the first and the last step as many corners."; return; }
    polys.forEach((_, i) => {
      const t = i / (polys.length - 1);
      polys[i] = first.map((xy, k) => [0, 1].map((a) => xy[a] + t * (last[k][a] - xy[a])));
    });
    draw();
  });
  for (const [id, by] of [["nearer", 1], ["farther", -1]]) {
    $(id).addEventListener("click", () => {
      const now = Math.min(Math.max(Number(stage.dataset.zoom || 1) + by, 1), 4);
      stage.dataset.zoom = now;
      stage.style.width = `${100 * now}%`;
      moved();
      const frame = stage.parentElement, mid = chosen() ? middle(chosen()) : [0.5, 0.5];
      frame.scrollLeft = mid[0] * stage.clientWidth - frame.clientWidth / 2;
      frame.scrollTop = mid[1] * stage.clientHeight - frame.clientHeight / 2;
    });
  }
  field.addEventListener("change", load);

  function load() {
    try {
      regions = read(field.value);
    } catch (error) {
      told.textContent = `The marks' text cannot be read (${error.message}): correct it there.`;
      return;
    }
    const first = regions.findIndex((one) => one.kind === "swatch");
    const kept = field.value;
    choose(Math.max(first, 0), 0, 0);
    field.value = kept; // as it came, until something is moved
    tellBare();
  }

  // ---- leaving with marks that were not sent ----------------------------------------------------

  // A region that was only looked at is no change: marks are compared as they would be written.
  const state = () => JSON.stringify([asText(), ...[...new FormData(form)].filter(([name]) => !["once", "marks"].includes(name))]);
  let sent = null, sentText = "";
  const changed = () => state() !== sent || ![sentText, asText()].includes(field.value);
  const nothingToSend = () => { sent = state(); sentText = field.value; };
  form.addEventListener("submit", nothingToSend);
  window.addEventListener("beforeunload", (event) => {
    if (!changed()) return;
    event.preventDefault();
    event.returnValue = true; // older browsers ask only so
  });
  for (const name of ["no_card", "light"]) form.elements[name].addEventListener("change", tellBare);

  $("tools").hidden = false;
  $("zooming").hidden = false;
  new ResizeObserver(() => { drawShapes(); placeHandles(); }).observe(stage);
  picture.addEventListener("load", () => { drawShapes(); placeHandles(); });
  load();
  if (!$("refused")) nothingToSend(); // marks that came back refused are not kept yet
})();
