// Draws the last minute of the meter. The scale follows the coil that is on the
// clips; what lies beyond it runs along the edge.

import { ohms } from "./numbers.js";

const span = 60; // s
const most = 3000; // readings kept, whatever the meter's pace
const step = 500; // ms between two drawings while nothing arrives
const gap = 3; // s without a value is a gap in the line

export class Strip {
  // kept is the name under which the minute outlasts a look at another page.
  constructor(canvas, range, kept) {
    this.canvas = canvas;
    this.range = range;
    this.points = JSON.parse(sessionStorage.getItem(kept) ?? "[]"); // { at: s, value: ohms or null }
    addEventListener("pagehide", () => sessionStorage.setItem(kept, JSON.stringify(this.points)));
    setInterval(() => this.soon(), step);
    new ResizeObserver(() => this.soon()).observe(canvas);
  }

  add(at, value) {
    this.points.push({ at, value });
    if (this.points.length > most) this.points.shift();
    this.ahead = Math.max(this.ahead ?? -Infinity, at - Date.now() / 1000);
    this.soon();
  }
  clear() {
    this.points = [];
    this.soon();
  }
  soon() {
    if (this.due || document.visibilityState !== "visible") return;
    this.due = requestAnimationFrame(() => {
      this.due = 0;
      this.draw();
    });
  }

  // scale is from the lowest to the highest value of the coil on the clips, or of
  // the whole minute when none is.
  scale() {
    const values = (points) => points.filter((p) => p.value !== null).map((p) => p.value);
    const lastGap = this.points.findLastIndex((p) => p.value === null);
    let shown = values(this.points.slice(lastGap + 1));
    if (shown.length < 3) shown = values(this.points);
    if (shown.length === 0) return null;
    const low = shown.reduce((a, b) => Math.min(a, b));
    const high = shown.reduce((a, b) => Math.max(a, b));
    const middle = (low + high) / 2;
    const half = Math.max((high - low) * 0.6, Math.abs(middle) * 0.0005);
    return { low: middle - half, high: middle + half };
  }

  draw() {
    // The daemon's clock is not the browser's: now is as far on as its readings.
    const now = Date.now() / 1000 + (this.ahead ?? 0);
    while (this.points.length && this.points[0].at < now - span) this.points.shift();
    const { canvas } = this;
    const dense = devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (canvas.width !== Math.round(width * dense) || canvas.height !== Math.round(height * dense)) {
      canvas.width = Math.round(width * dense);
      canvas.height = Math.round(height * dense);
    }
    const c = canvas.getContext("2d");
    const style = getComputedStyle(canvas);
    const colour = (name) => style.getPropertyValue(name);
    c.setTransform(dense, 0, 0, dense, 0, 0);
    c.clearRect(0, 0, width, height);
    c.strokeStyle = colour("--rule");
    c.lineWidth = 1;
    c.beginPath();
    for (let s = 0; s <= span; s += 10) {
      const x = Math.round((1 - s / span) * (width - 1)) + 0.5;
      c.moveTo(x, 0);
      c.lineTo(x, height);
    }
    c.stroke();

    const scale = this.scale();
    this.range.textContent = scale ? `${ohms(scale.low)} to ${ohms(scale.high)}` : "";
    if (!scale) return;
    const x = (at) => (1 - (now - at) / span) * width;
    const y = (v) => {
      const part = (v - scale.low) / (scale.high - scale.low);
      return (1 - Math.min(Math.max(part, 0), 1)) * (height - 6) + 3;
    };
    c.strokeStyle = c.fillStyle = colour("--copper");
    c.lineWidth = 2;
    c.lineJoin = "round";
    c.beginPath();
    let before = null;
    for (const p of this.points) {
      if (p.value === null) {
        before = null;
        continue;
      }
      if (before === null || p.at - before > gap) c.moveTo(x(p.at), y(p.value));
      else c.lineTo(x(p.at), y(p.value));
      before = p.at;
    }
    c.stroke();
    const last = this.points.at(-1);
    if (last?.value == null) return;
    c.beginPath();
    c.arc(Math.min(x(last.at), width - 4), y(last.value), 4, 0, 7);
    c.fill();
  }
}
