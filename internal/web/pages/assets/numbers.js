// Writes values as package words of the daemon does. words/testdata/words.json
// holds both to the same texts.

// fixed rounds an exact half to the even digit, and nothing that is shown as zero
// has a sign; toFixed does neither.
function fixed(v, decimals) {
  const halves = Math.abs(v) * 2 * 10 ** decimals;
  const aboveEven = Number.isInteger(v * 2 ** (decimals + 1)) && halves % 4 === 1;
  const text = (aboveEven ? (halves - 1) / 2 / 10 ** decimals : Math.abs(v)).toFixed(decimals);
  return v < 0 && Number(text) !== 0 ? "−" + text : text;
}

export function significant(v, digits) {
  const before = v === 0 ? 1 : Math.floor(Math.log10(Math.abs(v))) + 1;
  return fixed(v, Math.max(0, digits - before));
}

export function ohms(v) {
  if (v < 1000) return significant(v, 5) + " Ω";
  if (v < 1e6) return significant(v / 1e3, 5) + " kΩ";
  return significant(v / 1e6, 5) + " MΩ";
}

export const celsius = (v) => fixed(v, 2) + " °C";

const verdicts = { in: "in tolerance", high: "too high", low: "too low", undecided: "undecided" };

export const verdictWords = (verdict) => verdicts[verdict] ?? "not judged";

// measuredLonger is true for a better result of a coil that stayed on the clips:
// the same coil, measured once. The daemon gives it this reason.
export const measuredLonger = (m) => m.reason === "measured longer on the same contact";
