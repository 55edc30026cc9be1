// Keeps the rack ready for the next scan: whatever a scanner reads goes into the
// field of the coil, wherever the keyboard is. The page works without.
import { listen } from "./keys.js";

const serial = document.getElementById("serial");
listen({
  scanned(text) {
    serial.value = text;
    serial.form.requestSubmit();
  },
  pressed() {},
  stepped() {},
});
serial.select();
