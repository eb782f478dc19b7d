// Asks how far a measurement is, and shows it; without a script the page loads itself anew.
"use strict";

function watchState() {
  const line = document.getElementById("state");
  if (!line || !["measuring", "filing"].includes(line.dataset.state)) return;
  const stay = line.dataset.stay === "yes"; // a form is being filled in: nothing is loaded anew

  function tell(place, lines) {
    if (!place) return;
    place.replaceChildren(...lines.map((words) => {
      const p = document.createElement("p");
      p.textContent = words;
      return p;
    }));
  }

  function flagLines(flags) {
    return flags.map(([name, words]) => `${name}: ${words}`);
  }

  function show(region) {
    const place = [...document.querySelectorAll(".found")].find((e) => e.dataset.region === region.name);
    tell(place, [region.words, ...region.even, ...flagLines(region.flags)]);
  }

  async function ask() {
    if (!line.isConnected) return; // another form has come into the page, with a line of its own
    let said = null;
    try {
      const answer = await fetch(line.dataset.address, { headers: { Accept: "application/json" } });
      said = await answer.json();
    } catch (error) {
      setTimeout(ask, 4000);
      return;
    }
    if (said.state === line.dataset.state) {
      setTimeout(ask, 1200);
    } else if (stay && said.state === "measured") {
      line.textContent = "Measured: the figures stand at each region. Nothing is kept yet.";
      tell(document.getElementById("alike"), flagLines(said.flags));
      said.regions.forEach(show);
    } else if (stay && said.state === "failed") {
      location.reload(); // there is nothing that could be kept: the page says what to do
    } else if (stay) {
      line.textContent = said.words;
    } else {
      location.href = said.go || location.href;
    }
  }
  setTimeout(ask, 800);
}

watchState();
document.addEventListener("came-back", watchState);
