// Keeps the instruments of a page live: the last lines of each as they arrive,
// and how it stands. And has buttons say that they are at work. The pages work
// without.
import { clock, localTimes } from "./times.js";

const lines = 12;
const silence = 6000; // ms; the daemon sends a heartbeat every 2 s
const again = 1500; // ms until the next attempt to connect

// follow shows what happens at the instruments of one bench.
function follow(section) {
  const bench = section.dataset.bench;
  const seen = section.querySelector("[data-seen]");
  const kept = { meter: [], probe: [] };
  const show = (role) => {
    const place = section.querySelector(`[data-raw="${role}"]`);
    if (place) place.textContent = kept[role].join("\n");
  };

  // sight says whether what the page shows is how it is now.
  function sight(there) {
    section.classList.toggle("lost-sight", !there);
    seen.textContent = there ? "Live." : "The connection to coilkeep is gone; this is how it was.";
  }

  // fresh puts in the cards as they are now. They come from the page of the
  // instruments: the one shown may be the answer to a form sent to another place.
  async function fresh() {
    try {
      const answer = await fetch(section.dataset.page, { cache: "no-store" });
      if (!answer.ok) return sight(false);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      localTimes(page);
      const now = page.querySelector(`[data-cards="${CSS.escape(bench)}"]`);
      if (now) section.querySelector("[data-cards]").replaceWith(now);
      Object.keys(kept).forEach(show);
    } catch {
      sight(false);
    }
  }

  let heard;
  function connect() {
    const events = new EventSource(`/api/v1/events?bench=${encodeURIComponent(bench)}`);
    const on = (type, handle) =>
      events.addEventListener(type, (event) => {
        heard = Date.now();
        if (section.classList.contains("lost-sight")) fresh();
        sight(true);
        handle?.(event);
      });
    on("open", fresh);
    on("heartbeat");
    on("state");
    on("instrument", fresh);
    on("reading", (event) => {
      const reading = JSON.parse(event.data);
      const time = clock(new Date(reading.time));
      kept[reading.role].push(`${time}  ${reading.raw}`);
      kept[reading.role].splice(0, kept[reading.role].length - lines);
      show(reading.role);
      const answered = section.querySelector(`[data-answered="${reading.role}"]`);
      if (answered) answered.textContent = time;
    });
    events.addEventListener("error", () => {
      sight(false);
      if (events.readyState === EventSource.CLOSED) setTimeout(connect, again); // else the browser tries by itself
    });
  }
  connect();
  setInterval(() => {
    if (Date.now() - heard > silence) sight(false);
  }, 1000);
}

for (const section of document.querySelectorAll("[data-bench]")) follow(section);

for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", () => {
    const button = form.querySelector("[data-busy]");
    if (!button) return;
    button.textContent = button.dataset.busy;
    button.disabled = true;
  });
}
