// Keeps the rack ready for the next scan: what a scanner reads goes into the field
// of the coil, wherever the keyboard is. The page works without.
import { listen } from "./keys.js";

const serial = document.getElementById("serial");
// In the field itself keys do what they do without this script: a scan that began
// while the page was loading stays whole.
window.addEventListener("keydown", (event) => event.target === serial && event.stopPropagation(), true);
listen({
  scanned(text) {
    serial.value = text;
    serial.form.requestSubmit();
  },
  pressed() {},
  stepped() {},
});
if (document.activeElement === serial) serial.select();
