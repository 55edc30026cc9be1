// Keeps the status page live. Readings are shown as they come; everything else
// is fetched again, bench by bench, when an event says that it changed. When
// the daemon is not heard for a few seconds, or the connection drops, the
// numbers are taken off the page at once: an old value is never shown as live.

import { localTimes } from "./times.js";

const silence = 6000; // ms; the daemon sends a heartbeat every 2 s
const pause = 500; // ms between two looks at the same bench

const panels = new Map([...document.querySelectorAll("[data-bench]")].map((p) => [p.dataset.bench, p]));
const waiting = new Map(); // bench → timer of the look that is due
const link = document.getElementById("link");
const lostNote = document.getElementById("lost");
let source, heard, again;

// Numbers are written as the daemon writes them: see format.go.
function significant(v, digits) {
  const before = v === 0 ? 1 : Math.floor(Math.log10(Math.abs(v))) + 1;
  return v.toFixed(Math.max(0, digits - before));
}
function ohms(v) {
  if (v < 1000) return significant(v, 5) + " Ω";
  if (v < 1e6) return significant(v / 1e3, 5) + " kΩ";
  return significant(v / 1e6, 5) + " MΩ";
}
const celsius = (v) => v.toFixed(2) + " °C";

function show(panel, name, text) {
  const place = panel.querySelector(`[data-live="${name}"]`);
  if (place) place.textContent = text;
}
function showReadings(panel, resistance, temperature) {
  if (resistance !== undefined) show(panel, "meter", resistance === null ? "—" : ohms(resistance));
  if (temperature !== undefined) show(panel, "probe", temperature === null ? "—" : celsius(temperature));
}

function isLive() {
  return document.body.dataset.link === "live";
}
function becomeLive() {
  document.body.dataset.link = "live";
  link.textContent = "live";
  lostNote.hidden = true;
}
function becomeLost() {
  source?.close();
  document.body.dataset.link = "lost";
  link.textContent = "not connected";
  lostNote.hidden = false;
  for (const timer of waiting.values()) clearTimeout(timer);
  waiting.clear();
  for (const place of document.querySelectorAll("[data-live]")) place.textContent = "—";
  for (const place of document.querySelectorAll(".now .words")) place.textContent = "Not known: no connection.";
  clearTimeout(again);
  again = setTimeout(connect, 1500);
}

// look fetches a bench's part of the page and puts in what differs.
async function look(bench) {
  waiting.delete(bench);
  const panel = panels.get(bench);
  const answer = await fetch(`/benches/${encodeURIComponent(bench)}/panel`, { cache: "no-store" });
  if (!answer.ok) throw new Error(`panel of ${bench}: ${answer.status}`);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!isLive()) return;
  localTimes(fresh);
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const shown = panel.querySelector(`[data-part="${part.dataset.part}"]`);
    if (!shown.isEqualNode(part)) shown.replaceWith(part);
  }
}
function lookSoon(bench) {
  if (!panels.has(bench)) {
    location.reload(); // the daemon has other benches now
    return;
  }
  if (waiting.has(bench)) return;
  waiting.set(bench, setTimeout(() => look(bench).catch(becomeLost), pause));
}

function on(type, handle) {
  source.addEventListener(type, (event) => {
    heard = Date.now();
    handle(JSON.parse(event.data));
  });
}
function connect() {
  heard = Date.now();
  source = new EventSource("/api/v1/events");
  source.onerror = becomeLost;
  on("heartbeat", () => {});
  on("state", (s) => {
    becomeLive();
    const panel = panels.get(s.bench);
    if (panel) showReadings(panel, s.resistance_ohms, s.temperature_celsius);
    lookSoon(s.bench);
  });
  on("reading", (r) => {
    const panel = panels.get(r.bench);
    if (!panel) return;
    if (r.role === "meter") showReadings(panel, r.value, undefined);
    else showReadings(panel, undefined, r.value);
  });
  on("measurement", (m) => lookSoon(m.bench));
  on("instrument", (i) => {
    const panel = panels.get(i.bench);
    if (panel && !i.up) showReadings(panel, i.role === "meter" ? null : undefined, i.role === "probe" ? null : undefined);
    lookSoon(i.bench);
  });
}

document.body.dataset.link = "connecting";
link.textContent = "connecting";
connect();
setInterval(() => {
  if (document.body.dataset.link !== "lost" && Date.now() - heard > silence) becomeLost();
}, 1000);
