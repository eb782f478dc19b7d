// At the pot: the hold's clock, and entries that outlive a lost connection.
//
// An entry is stored in this browser under its once-token before it is sent, and taken away when
// the server has it; sent twice it counts once. Its time is that of the tap.
"use strict";

(() => {
  const PREFIX = "studio-pot:";
  const AGAIN_MS = 8000;
  let sending = false;

  // -- time: the server's clock, wherever this device's clock stands ----------------------------

  const clock = document.getElementById("server-clock");
  const ahead = clock ? Date.parse(clock.dataset.now) - Date.now() : 0;
  const now = () => Date.now() + ahead;

  const hour = (at) => new Date(at)
    .toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

  // -- the hold: worked out anew from its stored end at each tick -------------------------------

  let sound = null, chime = false, shake = false, told = null;

  function words(ms) {
    const s = Math.ceil(Math.abs(ms) / 1000);
    const two = (n) => String(n).padStart(2, "0");
    return s >= 3600
      ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`
      : `${Math.floor(s / 60)}:${two(s % 60)}`;
  }

  function ring() {
    if (chime && sound) {
      [0, 0.5, 1].forEach((after) => {
        const tone = sound.createOscillator(), level = sound.createGain();
        const at = sound.currentTime + after;
        tone.frequency.value = 880;
        level.gain.setValueAtTime(0.4, at);
        level.gain.exponentialRampToValueAtTime(0.001, at + 0.45);
        tone.connect(level).connect(sound.destination);
        tone.start(at);
        tone.stop(at + 0.5);
      });
    }
    if (shake && navigator.vibrate) navigator.vibrate([400, 200, 400]);
  }

  const title = document.title;

  // The other pots that are open: each one's time, and the chime when it is over.
  const toldOfOthers = new Set();

  function tickOthers() {
    for (const place of document.querySelectorAll(".runs")) {
      const ends = Date.parse(place.dataset.ends), left = ends - now(), at = hour(ends - ahead);
      place.textContent = left > 0 ? `${place.dataset.kind}: ${words(left)} to go, to ${at}`
        : `${place.dataset.kind} over since ${at}`;
      if (left > 0 || toldOfOthers.has(place.dataset.ends)) continue;
      toldOfOthers.add(place.dataset.ends);
      if (left > -60000) ring();
    }
  }

  function tick() {
    tickOthers();
    const timer = document.querySelector(".timer");
    if (!timer) {
      document.title = title;
      return;
    }
    const ends = Date.parse(timer.dataset.ends), left = ends - now();
    const over = left <= 0;
    timer.querySelector(".clock").textContent = (over ? "+" : "") + words(left);
    timer.querySelector(".clock-words").textContent =
      `${timer.dataset.kind} of ${Number(timer.dataset.minutes)} min, ${over ? "over since" : "to"} ` +
      hour(ends - ahead);
    timer.classList.toggle("over", over);
    document.title = `${over ? "over" : words(left)} · ${title}`;
    if (over && told !== timer.dataset.ends) {
      told = timer.dataset.ends;
      timer.querySelector("[data-over]").textContent = `The ${timer.dataset.kind} is over.`;
      if (left > -60000) ring();
    }
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-chime], [data-shake]");
    if (!button) return;
    const on = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(on));
    if ("chime" in button.dataset) {
      chime = on;
      if (on && !sound) sound = new AudioContext();
      if (on) sound.resume();
    } else {
      shake = on;
      if (on && navigator.vibrate) navigator.vibrate(60);
    }
  });

  // -- entries kept in this browser -------------------------------------------------------------

  function keptKeys() {
    try {
      return Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
    } catch (error) {
      return [];
    }
  }

  function kept() {
    const found = [];
    for (const key of keptKeys()) {
      try {
        found.push({ key, ...JSON.parse(localStorage.getItem(key)) });
      } catch (error) {
        localStorage.removeItem(key);
      }
    }
    return found.sort((a, b) => a.order - b.order);
  }

  function keep(entry) {
    const { key, ...rest } = entry;
    localStorage.setItem(key, JSON.stringify(rest));
  }

  function token() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  }

  const PLAIN = { left_percent: "% left", ph: "pH", temperature: "°C", left: "colour left" };
  const QUIET = ["once", "do", "what", "tapped", "was", "number", "kind", "already", "ends_hold", "really", "weighed"];
  const OPENING = "studio-pot-opening"; // the entry that the next page is to open for change

  function entryWords(entry) {
    const said = entry.fields
      .filter(([name, value]) => value && !QUIET.includes(name) && !/^(dye|amount|source)\d/.test(name))
      .map(([name, value]) => `${PLAIN[name] || name.replace("_", " ")} ${value}`);
    const typed = Object.fromEntries(entry.fields);
    for (const name of Object.keys(typed).filter((key) => /^dye\d/.test(key) && typed[key])) {
      const amount = typed[name.replace("dye", "amount")] || "no amount";
      said.push(`${amount} of ${entry.dyes?.[name] || "a dye"}`);
    }
    const kind = entry.name === "step" && entry.fields.find(([name]) => name === "kind");
    return `${entry.lot}, ${hour(entry.order)}: ${[kind ? kind[1] : entry.name, ...said].join(", ")}`;
  }

  // What the refusal asks back, such as whether a hold that runs is to end: answered by one tap.
  function asked(place, entry) {
    return JSON.parse(place.dataset.ticks || "[]").filter(([, label]) => (entry.refused || "").includes(`“${label}”`));
  }

  // A refusal of what was tapped just now is looked at now; a later one moves no page.
  const JUST_NOW_MS = 10000;

  function lookAt(entry) {
    if (Date.now() - entry.order > JUST_NOW_MS) return;
    const item = [...document.querySelectorAll("#kept .kept")].find((e) => e.dataset.key === entry.key);
    if (item) item.scrollIntoView({ block: "center" });
  }

  function show() {
    const place = document.getElementById("kept");
    if (!place) return;
    const list = kept().map((entry) => {
      const item = document.createElement("div");
      item.className = entry.refused ? "kept refused" : "kept";
      item.dataset.key = entry.key;
      const first = document.createElement("p");
      const strong = document.createElement("strong");
      strong.textContent = entry.refused ? "Not taken, kept here. " : "Not sent yet, kept here. ";
      first.append(strong, entryWords(entry));
      item.append(first);
      if (entry.refused) {
        const why = document.createElement("p");
        why.textContent = entry.refused;
        item.append(why);
      }
      const line = document.createElement("div");
      line.className = "line";
      line.append(button("Send it now", () => {
        keep({ ...entry, refused: "" });
        send(true);
      }));
      for (const [name, label] of asked(place, entry)) {
        line.append(button(label, () => {
          keep({ ...entry, refused: "", fields: [...entry.fields, [name, "yes"]] });
          send(true);
        }));
      }
      if (entry.refused && !entry.name.startsWith("undo")) line.append(button("Mend it", () => open(entry)));
      line.append(button("Throw it away", () => {
        localStorage.removeItem(entry.key);
        show();
      }));
      item.append(line);
      return item;
    });
    place.replaceChildren(...list);
  }

  // -- a refused entry goes back into the form that it came from --------------------------------

  function formOf(entry) {
    const said = (name) => (entry.fields.find(([key]) => key === name) || ["", ""])[1];
    return [...document.querySelectorAll("form[data-pot]")].find((form) =>
      form.getAttribute("action").split("#")[0] === entry.to &&
      ["do", "what", "number"].every((name) => (form.elements[name]?.value || "") === said(name)));
  }

  // In its form if that is here; on the page that has it; else, as for a planned step that is done
  // already, among "Something else".
  function open(entry) {
    const said = (name) => (entry.fields.find(([key]) => key === name) || ["", ""])[1];
    const form = formOf(entry);
    if (form) {
      if (!busy(form) || confirm("The form for it holds something that was not sent. Replace it?")) mend(entry, form);
      return;
    }
    const [key, value] = said("do") === "edit" ? ["edit", said("number")] : ["step", said("what")];
    const there = entry.to + (value ? `?${key}=${encodeURIComponent(value)}` : "");
    if (location.pathname + location.search !== there) {
      sessionStorage.setItem(OPENING, entry.key);
      location.href = there;
      return;
    }
    const other = document.getElementById("else");
    if (!other || said("do") !== "step") return;
    const kinds = [...other.querySelectorAll("[name=kind]")].map((radio) => radio.value)
      .filter((kind) => entry.name.replace(/^\d+\. /, "").startsWith(kind)).sort((a, b) => b.length - a.length);
    mend({ ...entry, fields: [...entry.fields, ["kind", kinds[0] || "other"]] }, other);
  }

  function openAtLoad() {
    if (!keptKeys().length) return; // also where this browser keeps nothing
    const key = sessionStorage.getItem(OPENING);
    sessionStorage.removeItem(OPENING);
    const entry = kept().find((e) => e.key === key);
    if (entry && entry.refused) open(entry);
  }

  function mend(entry, form) {
    form.reset();
    for (const [name, value] of entry.fields) {
      const field = form.elements[name];
      if (!field || field.type === "hidden") continue;
      if (field.type === "checkbox") field.checked = true;
      else field.value = value; // of radio buttons, the one of this value
      if (value && field.closest) field.closest("details")?.setAttribute("open", "");
    }
    const at = form.elements.at, tapped = entry.fields.find(([key]) => key === "tapped");
    if (at && !at.value && tapped) at.value = clockTime(Date.parse(tapped[1])); // of the tap
    form.closest("details")?.setAttribute("open", "");
    localStorage.removeItem(entry.key);
    show();
    [...form.querySelectorAll("input[inputmode]")].find((field) => field.value)?.focus();
  }

  function clockTime(ms) {
    const at = new Date(ms), two = (n) => String(n).padStart(2, "0");
    const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
    const today = at.toDateString() === new Date().toDateString();
    return `${today ? "" : `${day} `}${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
  }

  function button(text, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.addEventListener("click", act);
    return made;
  }

  // What was refused of a step that has been corrected since is not to be sent any more.
  function dropOlderCorrections(entry) {
    const said = (of, name) => (of.fields.find(([key]) => key === name) || ["", ""])[1];
    if (said(entry, "do") !== "edit") return;
    for (const old of kept()) {
      const same = old.to === entry.to && ["do", "number"].every((name) => said(old, name) === said(entry, name));
      if (same && old.refused && old.order < entry.order) localStorage.removeItem(old.key);
    }
  }

  async function sendOne(entry) {
    const body = new URLSearchParams(entry.fields);
    let answer;
    try {
      answer = await fetch(entry.to, {
        method: "POST", body, headers: { Accept: "application/json" }, redirect: "manual",
      });
    } catch (error) {
      return "lost";
    }
    if (answer.status >= 500 || answer.type === "opaqueredirect") return "lost";
    let said = {};
    try {
      said = await answer.json();
    } catch (error) {
      if (!answer.ok) said = { words: `The server answered ${answer.status}.` };
      else return "lost";
    }
    if (answer.ok && said.ok) {
      localStorage.removeItem(entry.key);
      dropOlderCorrections(entry);
      return "taken";
    }
    keep({ ...entry, refused: said.words || "The server did not take it." });
    return "refused";
  }

  async function send(loud) {
    if (sending) return;
    sending = true;
    let taken = 0, outcome = "", refused = null;
    try {
      while (outcome !== "lost") { // one after the other: the log keeps their order
        const entry = kept().find((e) => !e.refused);
        if (!entry) break;
        outcome = await sendOne(entry);
        if (outcome === "taken") taken += 1;
        if (outcome === "refused") refused = entry;
      }
    } finally {
      sending = false;
    }
    if (taken || loud || keptKeys().length) show();
    if (taken || outcome === "refused") await refresh(); // another phone may have been here
    if (refused) lookAt(refused);
  }

  // What an address filled in goes in once: afterwards the form, and the address, are as ever.
  function unfill(form) {
    form.querySelectorAll("option").forEach((option) => { option.defaultSelected = false; });
    form.querySelectorAll("[name^=amount]").forEach((field) => { field.defaultValue = ""; });
    form.querySelectorAll("[name=kind]").forEach((radio) => { radio.defaultChecked = radio.value === "look"; });
    delete form.dataset.filled;
    history.replaceState(null, "", location.pathname);
  }

  // -- the page after an entry: only what the server knows is read anew -------------------------

  function busy(section) {
    return [...section.querySelectorAll("input, select, textarea")].some((field) =>
      field.type !== "hidden" && field.type !== "radio" && field.tagName !== "SELECT" &&
      field.value !== field.defaultValue);
  }

  async function refresh() {
    if (!document.querySelector("[data-live]")) return;
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const section of document.querySelectorAll("[data-live]")) {
        const better = fresh.getElementById(section.id);
        if (!better || busy(section)) continue;
        const pressed = [...section.querySelectorAll("[aria-pressed=true]")]
          .map((b) => ("chime" in b.dataset ? "[data-chime]" : "[data-shake]"));
        section.replaceChildren(...document.importNode(better, true).childNodes);
        pressed.forEach((p) => section.querySelector(p)?.setAttribute("aria-pressed", "true"));
      }
      tick();
    } catch (error) {
      // What is on the page stays; the entry itself is stored.
    }
  }

  // What each dye of a form is called: its number alone says nothing to a person.
  function dyesOf(form) {
    const named = [...form.elements].filter((field) => /^dye\d/.test(field.name) && field.value);
    return Object.fromEntries(named.map((field) => [field.name,
      field.dataset.name || field.selectedOptions?.[0].textContent || field.value]));
  }

  // Wet fingers tap twice: the same entry again within seconds is the same tap, and so is the next
  // planned step at once after one, for it may have come under the finger.
  const TWICE_MS = 3000, AT_ONCE_MS = 700;
  let last = { said: "", planned: false, at: 0 };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!("pot" in form.dataset)) return;
    const order = Date.now();
    const fields = [...new FormData(form, event.submitter)]
      .filter(([, value]) => typeof value === "string");
    const said = JSON.stringify([form.getAttribute("action"), ...fields.filter(([name]) => !["once", "tapped"].includes(name))]);
    const planned = fields.some(([name, value]) => name === "what" && value);
    if (order - last.at < (said === last.said ? TWICE_MS : planned && last.planned ? AT_ONCE_MS : 0)) {
      event.preventDefault();
      return;
    }
    const once = token();
    const entry = {
      key: PREFIX + once, dyes: dyesOf(form), order, to: form.getAttribute("action").split("#")[0],
      name: form.dataset.pot, lot: document.querySelector("h1").textContent.trim(), refused: "",
      fields: fields.map(([name, value]) =>
        name === "once" ? [name, once]
          : name === "tapped" ? [name, new Date(order + ahead).toISOString()] : [name, value]),
    };
    try {
      keep(entry);
    } catch (error) {
      return; // nothing can be kept in this browser: the form goes the plain way
    }
    event.preventDefault();
    last = { said, planned, at: order };
    const correction = form.closest("#correct");
    if ("filled" in form.dataset) unfill(form);
    form.reset();
    form.querySelectorAll("details[open]").forEach((d) => d.removeAttribute("open"));
    if (form.closest("details")) form.closest("details").removeAttribute("open");
    if (correction) {
      correction.remove();
      history.replaceState(null, "", location.pathname);
    }
    send(false);
  }, true);

  // -- when to look again -----------------------------------------------------------------------

  function wake() {
    tick();
    show();
    send(false);
  }

  setInterval(tick, 1000);
  setInterval(() => { if (keptKeys().length) send(false); }, AGAIN_MS);
  window.addEventListener("online", () => send(false));
  window.addEventListener("offline", show);
  window.addEventListener("pageshow", wake);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) wake(); });
  openAtLoad();
  wake();
})();
