// What a person can do on the page of a bench, by button, key, foot switch or
// scanner. Everything goes through the API; it is confirmed when the daemon
// says that it is kept, and what was wrong stands at the field that was wrong.

import { refreshRecords } from "./live.js";
import { learnPedal, lettersWork, listen, pedal, setLetters, setPedal } from "./keys.js";
import { measuredLonger, verdictWords } from "./numbers.js";
import { play, showSound, toggleSound } from "./sound.js";
import { Strip } from "./strip.js";

const page = document.querySelector("[data-bench]");
const bench = `/api/v1/benches/${encodeURIComponent(page.dataset.bench)}`;
const serial = document.getElementById("serial");
const again = document.getElementById("serial-again");
const dialog = (name) => document.getElementById(`dialog-${name}`);
const actions = () => page.querySelector('[data-part="actions"]').dataset;

// Fault is what the daemon found wrong, with the field it lies in.
class Fault extends Error {
  constructor(detail, field = "", kind = "") {
    super(detail);
    this.field = field;
    this.kind = kind;
  }
}

// ask sends a request and returns the answer, or throws a Fault.
async function ask(method, path, body) {
  let answer, content;
  try {
    answer = await fetch(path, {
      method,
      headers: body ? { "Content-Type": "application/json" } : {},
      body: body && JSON.stringify(body),
      cache: "no-store",
    });
    content = await answer.json();
  } catch {
    throw new Fault("coilkeep did not answer. Look whether it was done before you try again.");
  }
  if (answer.ok) return content;
  throw new Fault(content.detail ?? `coilkeep answered ${answer.status}.`, content.field, content.type?.split("/").at(-1));
}

// say shows what became of an action.
function say(words, wrong = false) {
  const at = document.getElementById("said");
  at.textContent = words;
  at.classList.toggle("wrong", wrong);
}
const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

// Faults of a form.

function clearFaults(form) {
  for (const at of form.querySelectorAll("[data-fault]")) at.textContent = "";
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
}
function showFault(form, fault) {
  const places = [...form.querySelectorAll("[data-fault]")];
  const at = places.find((p) => fault.field && p.dataset.fault.split(" ").includes(fault.field))
    ?? places.find((p) => p.dataset.fault === "") ?? places[0];
  at.textContent = capital(fault.message);
  const field = at.id && form.querySelector(`[aria-describedby~="${at.id}"]`);
  if (field) {
    field.setAttribute("aria-invalid", "true");
    field.focus();
    field.select?.();
  }
}

// What every form does with its fields; it returns what to say when it is done.
const orders = {
  async next({ serial, stage }) {
    const s = await ask("POST", `${bench}/next`, { serial: serial.trim(), stage });
    return s.next_serial ? [`Next coil: ${s.next_serial}.`, s.next_remark].filter(Boolean).join(" ") : "The next coil has no serial yet.";
  },
  async readings({ value }, form) {
    // The same value entered again is meant so.
    const confirm = form.dataset.asked === value;
    form.dataset.asked = "";
    try {
      await ask("POST", `${bench}/readings`, { role: form.dataset.role, value, confirm });
    } catch (fault) {
      if (!fault.message.endsWith("confirm it")) throw fault;
      form.dataset.asked = value;
      fault.message += ": enter it once more.";
      throw fault;
    }
    return "Entered.";
  },
  async start(fields) {
    const batch = await ask("POST", `${bench}/batch`, fields);
    return `Batch ${batch.batch} is open.`;
  },
  async close() {
    const batch = await ask("DELETE", `${bench}/batch`);
    return `Batch ${batch.batch} is closed.`;
  },
  async spool(fields) {
    await ask("POST", `${bench}/spool`, fields);
    return `Spool ${fields.spool} from the next coil on.`;
  },
  async force({ reason }) {
    await ask("POST", `${bench}/record`, { force: true, reason });
    return "Recorded and kept, marked as forced.";
  },
  async void({ reason }, form) {
    const m = await ask("POST", `/api/v1/measurements/${form.dataset.id}/void`, { reason });
    return `Coil ${m.serial} is void.`;
  },
  async acknowledge(fields, form) {
    await ask("POST", `/api/v1/batches/${encodeURIComponent(form.dataset.batch)}/drift/acknowledge`, fields);
    return "Taken note of.";
  },
  async note(fields) {
    await ask("POST", `${bench}/note`, fields);
    return "The note is kept.";
  },
};

async function submit(form) {
  if (form.classList.contains("busy")) return;
  form.classList.add("busy");
  clearFaults(form);
  try {
    say(await orders[form.dataset.form](Object.fromEntries(new FormData(form)), form));
    for (const field of form.querySelectorAll("input, textarea")) field.value = "";
    if (form.dataset.form === "next") leaveSerial();
    form.closest("dialog")?.close();
    refreshRecords();
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    showFault(form, fault);
    if (form.dataset.form === "next") {
      again.hidden = fault.kind !== "duplicate";
      play("refused");
    }
  } finally {
    form.classList.remove("busy");
  }
}

// What buttons and keys do.
const deeds = {
  async record() {
    await ask("POST", `${bench}/record`, {});
    say("Taken up: what is on the clips is recorded when steady.");
  },
  async again() {
    const { lastSerial, lastStage } = actions();
    if (!lastSerial) throw new Fault("No coil has been measured on this bench yet.");
    await ask("POST", `${bench}/next`, { serial: lastSerial, stage: lastStage, again: true });
    say(`Coil ${lastSerial} is measured again; that replaces its last measurement.`);
  },
  force: () => open("force"),
  void(button) {
    const form = dialog("void").querySelector("form");
    const { lastId, lastSerial } = actions();
    form.dataset.id = button?.dataset.id ?? lastId;
    fill(form, { serial: button?.dataset.serial ?? lastSerial });
    if (form.dataset.id) open("void");
  },
  spool: () => open("spool"),
  close(button) {
    fill(dialog("close"), button.dataset);
    open("close");
  },
  start: openStart,
  note: () => open("note"),
  acknowledge(button) {
    dialog("acknowledge").querySelector("form").dataset.batch = button.dataset.batch;
    open("acknowledge");
  },
  async sameAgain(button) {
    const { id, serial } = unrecorded(button, true);
    await ask("POST", `${bench}/unrecorded/${id}/again`, {});
    say(`Coil ${serial} comes next: clip it on again.`);
  },
  async nextOne(button) {
    const { id, serial } = unrecorded(button, true);
    await ask("POST", `${bench}/unrecorded/${id}/next`, {});
    say(`${serial} is put aside and keeps its number: clip the next coil on.`);
  },
  async dismiss(button) {
    const { id, serial } = unrecorded(button, false);
    await ask("POST", `${bench}/unrecorded/${id}/dismiss`, {});
    say(`${serial || "The coil that was not recorded"} is dismissed.`);
  },
  rack: () => location.assign(document.getElementById("rack").href),
  help() {
    showPedal();
    open("help");
  },
  sound: () => toggleSound(document.getElementById("sound")),
  serial() {
    serial.focus();
    serial.select();
  },
  leave: (button) => button.closest("dialog").close(),
};

// unrecorded is the coil a button belongs to, or for a key the one that is asked
// about; one that is only listed serves where no question is answered.
function unrecorded(button, answers) {
  const at = button?.closest("[data-unrecorded]") ?? page.querySelector("[data-unrecorded][data-asked]")
    ?? (answers ? null : page.querySelector("[data-unrecorded]"));
  if (!at) throw new Fault(answers ? "The bench asks about no coil now." : "No coil is listed as not recorded.");
  return { id: encodeURIComponent(at.dataset.unrecorded), serial: at.dataset.serial };
}

async function run(name, button) {
  const why = (button ?? document.getElementById(`do-${name}`))?.dataset.why;
  if (why) return say(why, true);
  try {
    await deeds[name](button);
  } catch (fault) {
    if (!(fault instanceof Fault)) throw fault;
    say(capital(fault.message), true);
  }
}

function fill(place, values) {
  for (const at of place.querySelectorAll("[data-fill]")) at.textContent = values[at.dataset.fill];
}

// open shows a dialog; when it closes, the keyboard goes back to where it was,
// even if that was drawn anew meanwhile.
function open(name) {
  const shown = dialog(name);
  if (document.querySelector("dialog[open]")) return;
  const from = document.activeElement?.id;
  clearFaults(shown);
  shown.showModal();
  shown.addEventListener("close", () => from && document.getElementById(from)?.focus(), { once: true });
}

async function openStart() {
  const form = dialog("start").querySelector("form");
  const [{ designs }, { last }] = await Promise.all([ask("GET", "/api/v1/designs"), ask("GET", bench)]);
  form.elements.design.replaceChildren(...designs.map((d) => new Option(d.name, d.name, false, d.name === last?.design)));
  document.getElementById("no-design").hidden = designs.length > 0;
  for (const name of ["spool", "winder", "operator"]) form.elements[name].value ||= last?.[name] ?? "";
  open("start");
}

// leaveSerial empties the field and takes the keyboard out of it, so that
// letters work as keys again.
function leaveSerial() {
  serial.value = "";
  clearFaults(serial.form);
  again.hidden = true;
  document.getElementById("main").focus({ preventScroll: true });
}

// A serial that was measured before is named while it is typed.
let checking;
function checkSoon() {
  clearTimeout(checking);
  const form = serial.form;
  clearFaults(form);
  again.hidden = true;
  const wanted = serial.value.trim(), stage = form.elements.stage.value;
  if (!wanted) return;
  checking = setTimeout(async () => {
    const query = new URLSearchParams({ serial: wanted, limit: 1000 });
    const { measurements } = await ask("GET", `/api/v1/measurements?${query}`).catch(() => ({ measurements: [] }));
    const known = measurements.findLast((m) => m.stage === stage && m.status !== "void" && m.status !== "superseded");
    if (!known || serial.value.trim() !== wanted) return;
    if (known.serial !== wanted) {
      document.getElementById("serial-fault").textContent = `${known.serial} exists: write it so, or choose another.`;
      return;
    }
    document.getElementById("serial-fault").textContent = `Coil ${wanted} was measured already: ${verdictWords(known.verdict)}.`;
    again.hidden = false;
  }, 250);
}

again.addEventListener("click", async () => {
  const form = serial.form;
  try {
    await ask("POST", `${bench}/next`, { serial: serial.value.trim(), stage: form.elements.stage.value, again: true });
    say(`Coil ${serial.value.trim()} is measured again; that replaces its last measurement.`);
    leaveSerial();
  } catch (fault) {
    showFault(form, fault);
  }
});
serial.addEventListener("input", checkSoon);
serial.form.elements.stage.addEventListener("change", checkSoon);
serial.addEventListener("keydown", (event) => {
  if (event.key === "Escape") leaveSerial();
});

// The foot switch and the letters.
function showPedal() {
  document.getElementById("letters").checked = lettersWork();
  document.getElementById("pedal-key").textContent = pedal() || "none";
  document.getElementById("pedal-forget").hidden = !pedal();
}
document.getElementById("letters").addEventListener("change", (event) => setLetters(event.target.checked));
document.getElementById("pedal-learn").addEventListener("click", () => {
  document.getElementById("pedal-key").textContent = "press it now";
  learnPedal(showPedal);
});
document.getElementById("pedal-forget").addEventListener("click", () => {
  setPedal("");
  showPedal();
});

const letters = { r: "record", a: "again", f: "force", v: "void", c: "serial", s: "spool", b: "batch", n: "note", m: "sound", k: "rack", 1: "sameAgain", 2: "nextOne", d: "dismiss", "?": "help" };
// scannedInto takes what was scanned while a dialog is open as an answer to it. Only
// the name of a spool needs no more than that; nothing else is sent by a scanner.
function scannedInto(dialog, field, text) {
  const form = dialog.querySelector("form");
  const at = field ?? form?.querySelector("input:not([type=checkbox]), textarea");
  if (!at) return;
  if (!field) at.value = text;
  at.focus();
  if (form.dataset.form !== "spool") return;
  if (/ R20 [0-9.]+ /i.test(text)) {
    at.value = "";
    showFault(form, { field: "spool", message: "This is the label of a coil. Scan that of the spool, or press Escape and scan the coil." });
    play("refused");
    return;
  }
  submit(form);
}

// isSpool is true for the name of a spool of the open batch.
async function isSpool(text) {
  const { batch } = await ask("GET", bench).catch(() => ({}));
  return batch?.spools.some(({ spool }) => spool.toLowerCase() === text.trim().toLowerCase()) ?? false;
}

listen({
  async scanned(text, dialog, field) {
    if (dialog) return scannedInto(dialog, field, text);
    if (await isSpool(text)) {
      say(`${text} is a spool's label. To change the spool press S, then scan it.`, true);
      play("refused");
      return;
    }
    serial.value = text;
    submit(serial.form);
  },
  pressed(letter) {
    const name = letters[letter];
    if (name === "batch" || name === "spool") page.querySelector(`#do-${name}`)?.click();
    else if (name) run(name);
  },
  stepped: () => run("record"),
});
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-do]");
  if (button) run(button.dataset.do, button);
});
document.addEventListener("submit", (event) => {
  if (!event.target.dataset.form) return;
  event.preventDefault();
  if (event.target.dataset.form === "help") dialog("help").close();
  else submit(event.target);
});

// Sound and the strip follow the bench.
const strip = new Strip(document.getElementById("strip"), document.getElementById("strip-range"), `coilkeep.strip.${page.dataset.bench}`);
page.addEventListener("reading", ({ detail: r }) => {
  if (r.role === "meter") strip.add(Date.parse(r.time) / 1000, r.value);
});
// A page that is left loses its connection first; its minute is kept all the same.
page.addEventListener("lost", () => setTimeout(() => strip.clear()));
// A better result of a coil that stays on is told by what changes on the page; a
// verdict that changes has a sound of its own.
page.addEventListener("measurement", ({ detail: m }) => measuredLonger(m) || play(m.verdict));
page.addEventListener("unrecorded", () => play("unrecorded"));
page.addEventListener("verdict", () => play("changed"));
showSound(document.getElementById("sound"));
document.body.classList.add("scripts");
