// Keeps the instruments of a page live: the last lines of each as they arrive,
// and how it stands. And has buttons say that they are at work. The pages work
// without.
import { localTimes } from "./times.js";

const lines = 12;

// follow shows what happens at the instruments of one bench.
function follow(section) {
  const bench = section.dataset.bench;
  const seen = section.querySelector("[data-seen]");
  const kept = { meter: [], probe: [] };
  const show = (role) => {
    const place = section.querySelector(`[data-raw="${role}"]`);
    if (place) place.textContent = kept[role].join("\n");
  };

  // fresh puts in the cards as they are now.
  async function fresh() {
    const answer = await fetch(location.pathname, { cache: "no-store" });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    localTimes(page);
    const now = page.querySelector(`[data-cards="${CSS.escape(bench)}"]`);
    if (now) section.querySelector("[data-cards]").replaceWith(now);
    Object.keys(kept).forEach(show);
  }

  const events = new EventSource(`/api/v1/events?bench=${encodeURIComponent(bench)}`);
  events.addEventListener("open", () => {
    section.classList.remove("lost-sight");
    seen.textContent = "Live.";
    fresh();
  });
  events.addEventListener("instrument", fresh);
  events.addEventListener("reading", (event) => {
    const reading = JSON.parse(event.data);
    const clock = new Date(reading.time).toLocaleTimeString([], { hour12: false });
    kept[reading.role].push(`${clock}  ${reading.raw}`);
    kept[reading.role].splice(0, kept[reading.role].length - lines);
    show(reading.role);
    const answered = section.querySelector(`[data-answered="${reading.role}"]`);
    if (answered) answered.textContent = clock;
  });
  events.addEventListener("error", () => {
    section.classList.add("lost-sight");
    seen.textContent = "The connection to the daemon is gone; this is how it was.";
  });
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
