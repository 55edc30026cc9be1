// Writes times in the reader's own zone, as package words of the daemon does in
// the daemon's. words/testdata/words.json holds both to the same texts.

const two = (n) => String(n).padStart(2, "0");
const day = (t) => `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}`;

export const clock = (t) => `${two(t.getHours())}:${two(t.getMinutes())}:${two(t.getSeconds())}`;

// localTime leaves out the date when it is today.
export const localTime = (t, now = new Date()) => (day(t) === day(now) ? clock(t) : `${day(t)} ${clock(t)}`);

// localTimes shows every time of a page in the reader's own zone.
export function localTimes(within) {
  for (const place of within.querySelectorAll("time")) place.textContent = localTime(new Date(place.dateTime));
}

localTimes(document);
