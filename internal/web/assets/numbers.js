// Writes numbers as the daemon writes them: see format.go.

export function significant(v, digits) {
  const before = v === 0 ? 1 : Math.floor(Math.log10(Math.abs(v))) + 1;
  return v.toFixed(Math.max(0, digits - before));
}

export function ohms(v) {
  if (v < 1000) return significant(v, 5) + " Ω";
  if (v < 1e6) return significant(v / 1e3, 5) + " kΩ";
  return significant(v / 1e6, 5) + " MΩ";
}

export const celsius = (v) => v.toFixed(2).replace("-", "−") + " °C";

const verdicts = { in: "in tolerance", high: "too high", low: "too low", undecided: "undecided" };

export const verdictWords = (verdict) => verdicts[verdict] ?? "not judged";

// measuredLonger is true for a better result of a coil that stayed on the clips:
// the same coil, measured once. The daemon gives it this reason.
export const measuredLonger = (m) => m.reason === "measured longer on the same contact";
