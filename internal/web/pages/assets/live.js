// Keeps a page of benches live. Readings are shown as they come; everything
// else is fetched again, bench by bench, when an event says that it changed.
// When the daemon is not heard for a few seconds, or the connection drops, the
// numbers are taken off the page at once: an old value is never shown as live.
//
// What arrives is passed on as events of the bench's element: reading, state,
// measurement, unrecorded and verdict with what the daemon sent, lost without
// anything.

import { localTimes } from "./times.js";
import { celsius, measuredLonger, ohms, verdictWords } from "./numbers.js";

const silence = 6000; // ms; the daemon sends a heartbeat every 2 s
const pause = 200; // ms between two looks at the same clips
const again = 1500; // ms until the next attempt to connect
const seldom = 20000; // ms; not all that bears on the records is an event

const link = document.getElementById("link");
const lostNote = document.getElementById("lost");
const announcer = document.getElementById("announce");
const benches = new Map();
let source, heard;

const isLive = () => document.body.dataset.link === "live";

// paced returns a function that does work at once, and while it is asked again
// and again no more often than every pause ms.
function paced(work, pause) {
  let busy = false, wanted = false;
  return async function ask() {
    if (busy) {
      wanted = true;
      return;
    }
    busy = true;
    try {
      await work();
    } finally {
      setTimeout(() => {
        busy = false;
        if (wanted) {
          wanted = false;
          ask();
        }
      }, pause);
    }
  };
}

// fresh fetches parts of the page and puts in those that differ. An answer that
// was asked for before the connection dropped is not shown after it.
async function fresh(place, path) {
  const asked = source;
  if (!isLive()) return;
  try {
    const answer = await fetch(path, { cache: "no-store" });
    if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
    const parts = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (asked !== source || !isLive()) return;
    localTimes(parts);
    for (const part of parts.querySelectorAll("[data-part]")) {
      const shown = place.querySelector(`[data-part="${part.dataset.part}"]`);
      if (!shown) continue;
      // What a person has opened stays open.
      for (const details of part.querySelectorAll("details[id]")) {
        details.open = shown.querySelector(`#${details.id}`)?.open ?? details.open;
      }
      if (!shown.isEqualNode(part)) swap(shown, part);
    }
  } catch {
    if (asked === source) becomeLost();
  }
}

// swap puts a part in the place of another without taking the keyboard away
// from who is in it.
function swap(shown, part) {
  const focused = shown.contains(document.activeElement) ? document.activeElement.id : "";
  shown.replaceWith(part);
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

// Bench is the part of the page that shows one bench.
class Bench {
  constructor(place) {
    this.place = place;
    this.name = place.dataset.bench;
    const path = `/benches/${encodeURIComponent(this.name)}`;
    this.look = paced(() => fresh(place, `${path}/panel`), pause);
    this.hasRecords = place.querySelector('[data-part="batch"]') !== null;
    this.records = paced(async () => {
      const width = Math.floor(place.querySelector('[data-part="batch"]').clientWidth);
      await fresh(place, `${path}/run?width=${Math.max(1, width - 48)}`);
    }, pause);
  }

  tell(type, detail) {
    this.place.dispatchEvent(new CustomEvent(type, { detail }));
  }

  show(name, text) {
    const at = this.place.querySelector(`[data-live="${name}"]`);
    if (at) at.textContent = text;
  }
  showMeter(v) {
    this.show("meter", v === null ? "—" : ohms(v));
  }
  showProbe(v) {
    this.show("probe", v === null ? "—" : celsius(v));
  }

  state(s) {
    this.showMeter(s.resistance_ohms);
    this.showProbe(s.temperature_celsius);
    this.look();
    const records = [s.batch?.batch, s.batch?.last_sequence, s.batch?.spools?.length, s.last?.id, s.last?.status, s.last_deed].join();
    if (this.hasRecords && records !== this.shownRecords) {
      this.shownRecords = records;
      this.records();
    }
    if (s.state !== this.shownState) {
      this.shownState = s.state;
      this.announce(s.words);
    }
    this.tell("state", s);
  }
  reading(r) {
    if (r.role === "meter") this.showMeter(r.value);
    else this.showProbe(r.value);
    this.tell("reading", r);
  }
  measurement(m) {
    this.look();
    this.announce(`coil ${m.serial} ${measuredLonger(m) ? "measured better: " : ""}${verdictWords(m.verdict)}`);
    this.tell("measurement", m);
  }
  unrecorded(u) {
    this.look();
    this.announce(`${u.serial || "a coil"} was not recorded: ${u.words}`);
    this.tell("unrecorded", u);
  }
  verdict(v) {
    this.look();
    this.announce(`the verdict of coil ${v.serial} changed from ${verdictWords(v.from)} to ${verdictWords(v.to)}`);
    this.tell("verdict", v);
  }
  instrument(i) {
    if (!i.up && i.role === "meter") this.showMeter(null);
    if (!i.up && i.role === "probe") this.showProbe(null);
    this.look();
  }
  lost() {
    this.shownRecords = this.shownState = undefined;
    for (const at of this.place.querySelectorAll("[data-live]")) at.textContent = "—";
    for (const at of this.place.querySelectorAll(".words")) at.textContent = "Not known: no connection.";
    this.tell("lost");
  }

  // announce says something to those who do not see the page.
  announce(words) {
    announcer.textContent = benches.size > 1 ? `${this.name}: ${words}` : words;
  }
}

function becomeLive() {
  if (isLive()) return;
  document.body.dataset.link = "live";
  link.textContent = "live";
  lostNote.hidden = true;
}
function becomeLost() {
  source?.close();
  source = undefined;
  document.body.dataset.link = "lost";
  link.textContent = "not connected";
  lostNote.hidden = false;
  for (const bench of benches.values()) bench.lost();
  setTimeout(connect, again);
}

function connect() {
  if (source) return;
  heard = Date.now();
  const opened = (source = new EventSource("/api/v1/events"));
  const on = (type, handle) =>
    opened.addEventListener(type, (event) => {
      if (opened !== source) return;
      heard = Date.now();
      handle(JSON.parse(event.data));
    });
  const pass = (type) => on(type, (data) => benches.get(data.bench)?.[type](data));
  opened.onerror = () => opened === source && becomeLost();
  on("heartbeat", () => {});
  on("state", (s) => {
    becomeLive();
    benches.get(s.bench)?.state(s);
  });
  pass("reading");
  pass("measurement");
  pass("instrument");
  pass("unrecorded");
  pass("verdict");
}

// refreshRecords fetches the records of the page again.
export function refreshRecords() {
  for (const bench of benches.values()) if (bench.hasRecords) bench.records();
}

for (const place of document.querySelectorAll("[data-bench]")) benches.set(place.dataset.bench, new Bench(place));
document.body.dataset.link = "connecting";
link.textContent = "connecting";
connect();
setInterval(() => {
  if (source && Date.now() - heard > silence) becomeLost();
}, 1000);
setInterval(() => {
  if (document.visibilityState === "visible") refreshRecords();
}, seldom);
