// Tells apart what comes from the keyboard: a scanner, which types fast and ends
// with Enter; a foot switch, whose key somebody has taught us; a person pressing
// a letter; and a person writing, which is left alone.

const burst = 50; // ms between two keys of a scanner, at the most
const least = 3; // characters of a scan
const letterAfter = 90; // ms; then no second key of a scanner comes any more

const lettersKept = "coilkeep.letters";
const pedalKept = "coilkeep.pedal";

export const lettersWork = () => localStorage.getItem(lettersKept) !== "off";
export const setLetters = (on) => localStorage.setItem(lettersKept, on ? "on" : "off");
export const pedal = () => localStorage.getItem(pedalKept) ?? "";
export const setPedal = (code) => (code ? localStorage.setItem(pedalKept, code) : localStorage.removeItem(pedalKept));

const writable = (at) => at?.matches?.("input:not([type=checkbox]), textarea, select");

// listen calls scanned with what a scanner reads, pressed with a single letter,
// and stepped when the foot switch is pressed. Where a dialog is open, scanned is told
// it and the field of it that the scanner has typed into, if any.
export function listen({ scanned, pressed, stepped }) {
  let typed = "", last = -Infinity, field = null, before = "", timer;

  document.addEventListener("keydown", (event) => {
    if (event.repeat || event.isComposing || event.ctrlKey || event.altKey || event.metaKey) return;
    if (learning) return learn(event);
    if ((event.code || event.key) === pedal() && !(writable(event.target) && event.key.length === 1)) {
      event.preventDefault();
      stepped();
      return;
    }
    const quick = event.timeStamp - last < burst;
    if (event.key === "Enter") {
      if (quick && typed.length >= least) {
        event.preventDefault();
        const dialog = document.querySelector("dialog[open]");
        const within = dialog?.contains(field) ? field : null;
        if (field && !within) field.value = before; // what the scanner typed belongs elsewhere
        scanned(typed, dialog, within);
      }
      typed = "";
      clearTimeout(timer);
      return;
    }
    if (event.key.length !== 1) return;
    clearTimeout(timer);
    if (quick) {
      typed += event.key;
      if (!writable(event.target)) event.preventDefault();
    } else {
      typed = event.key;
      field = writable(event.target) && event.target.tagName !== "SELECT" ? event.target : null;
      before = field?.value ?? "";
      const free = !writable(event.target) && !document.querySelector("dialog[open]");
      if (free && lettersWork()) timer = setTimeout(() => pressed(event.key.toLowerCase()), letterAfter);
    }
    last = event.timeStamp;
  }, true);

  // A button that has the keyboard takes a space when the key comes up.
  document.addEventListener("keyup", (event) => {
    if (event.key === " " && typed.length > 1 && !writable(event.target)) event.preventDefault();
  }, true);
}

let learning = null;

// learnPedal calls learned once with the code of the next key, or with nothing
// when that is Escape.
export function learnPedal(learned) {
  learning = learned;
}
function learn(event) {
  event.preventDefault();
  const learned = learning;
  learning = null;
  if (event.key === "Escape") return learned();
  setPedal(event.code || event.key);
  learned();
}
