// Shows every time of a page in the reader's own zone, without the date when it
// is today.
export function localTimes(within) {
  const two = (n) => String(n).padStart(2, "0");
  const day = (t) => `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}`;
  for (const place of within.querySelectorAll("time")) {
    const t = new Date(place.dateTime);
    const clock = `${two(t.getHours())}:${two(t.getMinutes())}:${two(t.getSeconds())}`;
    place.textContent = day(t) === day(new Date()) ? clock : `${day(t)} ${clock}`;
  }
}

localTimes(document);
