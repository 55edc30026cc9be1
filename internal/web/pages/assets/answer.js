// Has the answer follow the typing. The page works without: its button shows
// the same answer.
const form = document.getElementById("ask");
const place = document.getElementById("answer");
const said = document.querySelector("[data-said]");
const pause = 250; // milliseconds without a key before the answer is asked for

document.body.classList.add("scripts");

let waiting, asking;

const letter = () => document.getElementById("letter");
const proposed = () => place.querySelector("[data-proposed]")?.content.textContent ?? "";
const plain = (text) => text.replaceAll("\r\n", "\n").trim();
const edited = () => letter() && plain(letter().value) !== plain(proposed());

// told is what the form tells; a letter nobody has changed follows the answer.
function told() {
  const data = new FormData(form);
  if (!edited()) data.delete("letter");
  return new URLSearchParams(data);
}

// mark shows at which field something is wrong.
function mark() {
  form.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  const name = place.querySelector("[data-field]")?.dataset.field.replace(/^also\[(\d+)\]\./, "also.$1.");
  const field = name && form.elements.namedItem(name);
  if (!(field instanceof HTMLElement)) return;
  field.setAttribute("aria-invalid", "true");
  const folded = field.closest("details");
  if (folded) folded.open = true;
}

function show(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const kept = letter()?.style.height;
  place.replaceChildren(...page.body.childNodes);
  if (letter() && kept) letter().style.height = kept;
  place.classList.remove("stale");
  mark();
  offer();
  const headline = place.querySelector("[data-headline], [role=alert]")?.textContent.trim() ?? "";
  if (said.textContent !== headline) said.textContent = headline;
}

// offer has the proposed text be taken where the letter is another one.
function offer() {
  const button = place.querySelector("[data-renew]");
  if (button) button.hidden = !edited();
}

async function ask() {
  asking?.abort();
  const mine = asking = new AbortController();
  try {
    const answer = await fetch("/answer/live", { method: "POST", body: told(), signal: mine.signal, cache: "no-store" });
    const text = await answer.text();
    if (mine !== asking) return;
    if (answer.ok) return show(text);
    trouble("coilkeep cannot answer now; its log says more.");
  } catch (error) {
    if (error.name !== "AbortError") trouble("The connection to coilkeep is gone. What is shown is from before.");
  }
}

function trouble(words) {
  const line = document.createElement("p");
  line.className = "lost";
  line.setAttribute("role", "alert");
  line.textContent = words;
  place.classList.add("stale");
  place.querySelector(".lost")?.remove();
  place.prepend(line);
}

form.addEventListener("input", (event) => {
  if (event.target.name === "letter") return offer();
  place.classList.add("stale");
  clearTimeout(waiting);
  waiting = setTimeout(ask, pause);
});

// The letter lies outside the form element and belongs to it all the same.
place.addEventListener("input", offer);

form.addEventListener("submit", (event) => {
  const wanted = event.submitter?.value === "keep" || event.submitter?.hasAttribute("formaction");
  if (!wanted) {
    event.preventDefault();
    clearTimeout(waiting);
    ask();
    return;
  }
  if (event.submitter.dataset.busy) {
    const button = event.submitter;
    // After the form has gone, so that the button still says what it stands for.
    setTimeout(() => {
      button.textContent = button.dataset.busy;
      button.disabled = true;
    });
  }
});

async function copy() {
  const note = place.querySelector("[data-copied]");
  try {
    await navigator.clipboard.writeText(letter().value);
    note.textContent = "Copied.";
  } catch {
    letter().focus();
    letter().select();
    note.textContent = "Selected; copy it with the keyboard.";
  }
}

place.addEventListener("click", (event) => {
  if (event.target.closest("[data-copy]")) copy();
  if (event.target.closest("[data-renew]")) {
    letter().value = proposed();
    offer();
  }
});

// Whoever comes back to the page finds its buttons as they were.
window.addEventListener("pageshow", (event) => { if (event.persisted) ask(); });

offer();

// Who comes here has somebody on the telephone: the first thing to type is next.
const first = ["serial", "theirs"].map((name) => form.elements.namedItem(name)).find((field) => field.value === "");
first?.focus();
