// Says a verdict by sound, for hands and eyes that are busy: rising when it is
// good, three high notes when too high, two low ones when too low, a wavering
// one when undecided. A coil that was not recorded is a long fall, twice; a verdict
// that changed is high and low in turn. Off until somebody turns it on; the browser remembers.

const kept = "coilkeep.sound";
const tunes = { // notes as [hertz, start in s, length in s]
  in: [[659, 0, 0.12], [880, 0.13, 0.22]],
  high: [[1319, 0, 0.1], [1319, 0.16, 0.1], [1319, 0.32, 0.18]],
  low: [[247, 0, 0.22], [196, 0.26, 0.34]],
  undecided: [[440, 0, 0.14], [494, 0.15, 0.14], [440, 0.3, 0.14], [494, 0.45, 0.14]],
  unrecorded: [[784, 0, 0.16], [587, 0.17, 0.16], [392, 0.34, 0.36], [784, 0.85, 0.16], [587, 1.02, 0.16], [392, 1.19, 0.36]],
  changed: [[988, 0, 0.15], [494, 0.16, 0.15], [988, 0.32, 0.15], [494, 0.48, 0.15], [988, 0.64, 0.15], [494, 0.8, 0.3]],
  refused: [[330, 0, 0.08], [330, 0.12, 0.08]],
};
let context;

export const soundIsOn = () => localStorage.getItem(kept) === "on";

export function showSound(button) {
  const on = soundIsOn();
  button.setAttribute("aria-pressed", String(on));
  button.querySelector("b").textContent = on ? "on" : "off";
}

// toggleSound turns it on or off and plays what "in" sounds like.
export function toggleSound(button) {
  localStorage.setItem(kept, soundIsOn() ? "off" : "on");
  showSound(button);
  play("in");
}

export function play(name) {
  if (!soundIsOn() || !tunes[name]) return;
  context ??= new AudioContext();
  context.resume();
  // Before the first touch of the page the browser keeps it silent; a tune
  // that is overdue would only be taken for that of a later coil.
  if (context.state === "suspended" && !navigator.userActivation?.hasBeenActive) return;
  for (const [hertz, start, length] of tunes[name]) {
    const tone = context.createOscillator();
    const loudness = context.createGain();
    const at = context.currentTime + 0.02 + start;
    tone.type = "triangle";
    tone.frequency.value = hertz;
    loudness.gain.setValueAtTime(0, at);
    loudness.gain.linearRampToValueAtTime(0.25, at + 0.02);
    loudness.gain.setTargetAtTime(0, at + length - 0.03, 0.02);
    tone.connect(loudness).connect(context.destination);
    tone.start(at);
    tone.stop(at + length + 0.1);
  }
}
