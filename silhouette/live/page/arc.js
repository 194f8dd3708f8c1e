// The arc that counts, set by hand on a wheel: two handles that are dragged, or moved by the keys.

import { draw } from "./work.js";

const R = 13, REACH = 24;
const KEYS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 15, PageDown: -15 };
const whole = (angle) => ((Math.round(angle) % 360) + 360) % 360;

export class ArcHandles {
  // moved(from, to) hears of every change, in whole degrees.
  constructor(turntable, arc, moved) {
    this.turntable = turntable;
    this.moved = moved;
    this.over = draw("svg", { class: "handles", role: "group", "aria-label": "The arc that counts" });
    this.sweep = draw("path", { class: "sweep" });
    this.ends = [this.handle("The arc begins at"), this.handle("The arc ends at")];
    this.over.append(this.sweep, ...this.ends);
    this.arc = arc || [300, 60];
  }

  // Lays the handles over the wheel that is shown now; none where all counts.
  show(wheel, arc) {
    const dragged = this.over.contains(document.activeElement) ? document.activeElement : null;
    if (!arc || !wheel) {
      this.over.remove();
      return;
    }
    this.arc = arc;
    this.over.setAttribute("viewBox", wheel.getAttribute("viewBox"));
    this.ring = Number(wheel.dataset.rim) + 8;
    if (this.over.parentNode !== this.turntable) this.turntable.append(this.over);
    this.place();
    dragged?.focus();
  }

  place() {
    const [from, to] = this.arc, width = (to - from + 360) % 360 || 360;
    const at = (angle) => [-this.ring * Math.sin(angle * Math.PI / 180), this.ring * Math.cos(angle * Math.PI / 180)].map((n) => n.toFixed(1)).join(" ");
    this.sweep.setAttribute("d", `M${at(from)}A${this.ring} ${this.ring} 0 ${width > 180 ? 1 : 0} 1 ${at(to)}`);
    this.arc.forEach((angle, i) => {
      this.ends[i].setAttribute("transform", `rotate(${angle}) translate(0 ${this.ring})`);
      this.ends[i].setAttribute("aria-valuenow", angle);
      this.ends[i].setAttribute("aria-valuetext", `${angle} degrees`);
    });
  }

  set(i, angle) {
    const other = this.arc[1 - i], to = whole(angle);
    if (to === other) return;
    this.arc = i ? [other, to] : [to, other];
    this.place();
    this.moved(...this.arc);
  }

  handle(label) {
    const handle = draw("g", { class: "handle", tabindex: 0, role: "slider", "aria-label": label, "aria-valuemin": 0, "aria-valuemax": 359, "aria-valuenow": 0 },
      draw("circle", { r: REACH, class: "reach" }), draw("circle", { r: R }), draw("path", { d: "M-4 0H4M0 -4V4" }));
    const index = () => this.ends.indexOf(handle);
    handle.addEventListener("keydown", (event) => {
      const by = event.key in KEYS ? KEYS[event.key] * (event.shiftKey ? 10 : 1) : 0;
      if (event.altKey || event.ctrlKey || event.metaKey || !by && !["Home", "End"].includes(event.key)) return;
      event.preventDefault();
      event.stopPropagation();
      this.set(index(), by ? this.arc[index()] + by : event.key === "Home" ? 0 : 180);
    });
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      handle.focus();
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = this.over.getBoundingClientRect();
      const x = event.clientX - box.left - box.width / 2, y = event.clientY - box.top - box.height / 2;
      this.set(index(), Math.atan2(-x, y) * 180 / Math.PI);
    });
    return handle;
  }
}
