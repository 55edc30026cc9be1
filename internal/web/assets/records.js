// The last lines of each instrument as they arrive, and buttons that say that
// they are at work. The pages work without.
const lines = 12;

for (const section of document.querySelectorAll("[data-bench]")) {
  const bench = section.dataset.bench;
  const places = new Map();
  for (const place of section.querySelectorAll("[data-raw]")) places.set(place.dataset.raw, { place, kept: [] });
  const events = new EventSource(`/api/v1/events?bench=${encodeURIComponent(bench)}`);
  events.addEventListener("reading", (event) => {
    const reading = JSON.parse(event.data);
    const into = places.get(reading.role);
    if (reading.bench !== bench || !into) return;
    const clock = new Date(reading.time).toLocaleTimeString([], { hour12: false });
    into.kept.push(`${clock}  ${reading.raw}`);
    if (into.kept.length > lines) into.kept.shift();
    into.place.textContent = into.kept.join("\n");
  });
  events.addEventListener("error", () => {
    for (const { place, kept } of places.values()) {
      kept.length = 0;
      place.textContent = "The connection to the daemon is gone.";
    }
  });
}

for (const form of document.querySelectorAll("form")) {
  form.addEventListener("submit", () => {
    const button = form.querySelector("[data-busy]");
    if (!button) return;
    button.textContent = button.dataset.busy;
    button.disabled = true;
  });
}
