// One photo, sent with its progress shown. A lost connection keeps it chosen and sends it again.
"use strict";

(() => {
  const form = document.getElementById("send");
  const take = document.getElementById("take");
  const choose = document.getElementById("choose");
  const box = document.getElementById("progress");
  const bar = document.getElementById("bar");
  const said = document.getElementById("said");
  const again = document.getElementById("again");
  const button = form.querySelector("button.big");
  const most = Number(form.dataset.most);
  const WAITS = [2, 4, 8, 15]; // seconds; the last one repeats
  let sending = null;
  let tries = 0;
  let timer = 0;
  let opening = "";

  const say = (words) => { said.textContent = words; };
  const mb = (bytes) => (bytes / 1e6).toFixed(1);

  // The newest choice counts: a photo that is taken replaces one that was chosen.
  for (const [one, other] of [[take, choose], [choose, take]]) {
    one.addEventListener("change", () => {
      if (one.files.length) other.value = "";
      if (one.files.length) say(`${one.files[0].name}, ${mb(one.files[0].size)} MB, is ready to be sent.`);
    });
  }

  // Only what the chosen set-up says is shown; without a script all of them are.
  const setup = document.getElementById("setup");
  const saySetup = () => document.querySelectorAll("#setups-say li").forEach((one) => { one.hidden = one.dataset.setup !== setup.value; });
  if (setup) {
    setup.addEventListener("change", saySetup);
    saySetup();
  }

  function send() {
    const file = take.files[0] || choose.files[0];
    clearTimeout(timer);
    again.hidden = true;
    if (sending) return;
    if (!file) return say("No photo is chosen yet: take or choose one, then send it.");
    if (file.size > most) {
      return say(`This file has ${mb(file.size)} MB; at most ${mb(most)} MB are taken. Save it smaller, as JPEG in its full size.`);
    }
    const body = new FormData();
    for (const field of form.querySelectorAll("input[type=hidden], select")) body.append(field.name, field.value);
    body.append("photo", file, file.name);
    const request = sending = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      if (!event.lengthComputable) return;
      bar.value = (100 * event.loaded) / event.total;
      say(event.loaded < event.total ? `${mb(event.loaded)} of ${mb(event.total)} MB sent.` : "Sent; being looked at.");
    });
    request.addEventListener("load", () => done(request));
    request.addEventListener("error", lost);
    request.addEventListener("abort", lost);
    box.hidden = false;
    bar.value = 0;
    button.disabled = true;
    say("Sending.");
    request.send(body);
  }

  function done(request) {
    let answer = {};
    try { answer = JSON.parse(request.responseText); } catch (error) { /* no answer of ours */ }
    if (request.status === 0 || request.status === 502 || request.status === 504) return lost();
    sending = null;
    if (answer.go) return open(answer.go);
    button.disabled = false;
    box.hidden = true;
    return say(answer.words || `The server did not take it (${request.status}). Send it again.`);
  }

  // It is on the server: only its page is still to come, and that may take a connection's return.
  async function open(go) {
    clearTimeout(timer);
    opening = go;
    try {
      await fetch(go);
      location.href = go;
    } catch (error) {
      const link = document.createElement("a");
      link.href = go;
      link.textContent = "open it";
      said.replaceChildren("Sent, and kept there. The connection was lost since: ", link, " when it is back; it opens by itself then.");
      timer = setTimeout(() => open(go), 1000 * WAITS[Math.min(tries, WAITS.length - 1)]);
      tries += 1;
    }
  }

  function lost() {
    sending = null;
    button.disabled = false;
    again.hidden = false;
    const wait = WAITS[Math.min(tries, WAITS.length - 1)];
    tries += 1;
    say(`The connection was lost. The photo is still chosen here; it is sent again in ${wait} seconds, or at once with the button.`);
    timer = setTimeout(send, wait * 1000);
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    tries = 0;
    send();
  });
  again.addEventListener("click", send);
  window.addEventListener("online", () => {
    if (opening) open(opening);
    else if (!again.hidden) send();
  });
})();
