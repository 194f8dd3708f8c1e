// The live wheel: the stops as they come in, in a ring, the front at the foot of the page; seen from above.

const SVG = "http://www.w3.org/2000/svg";
const HALF = 500;          // of the drawing's side
const GAP = 14;

export function node(name, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

// Where a camera at this angle stands: clockwise from the foot of the page.
export const at = (angle, radius) => [-radius * Math.sin(angle * Math.PI / 180), radius * Math.cos(angle * Math.PI / 180)];

// The angle of each stop: as the outlines tell it, else as evenly spread on from the last one that is known.
export function anglesOf(stops, of, turn) {
  const step = (turn === "right" ? -360 : 360) / of;
  let last = null;
  return stops.map((stop, i) => {
    last = stop.angle ?? (last === null ? i * step : last + step);
    return last;
  });
}

export class Wheel {
  constructor(drawing) {
    this.drawing = drawing;
    drawing.setAttribute("viewBox", `${-HALF} ${-HALF} ${2 * HALF} ${2 * HALF}`);
    this.rest = node("g");
    this.mark = node("path", { class: "camera", d: "M0 0 L28 54 L-28 54 Z" });
    this.mark.style.display = "none";
    this.count = node("text", { class: "now", y: 30 });
    this.full = node("text", { class: "of", y: 140 });
    drawing.append(this.rest, this.mark, this.count, this.full);
    this.ring = 250;
  }

  // stops: WheelStop objects in the order of the turn.
  draw(stops, of, turn) {
    const many = Math.max(of, stops.length, 8);
    const height = Math.min(190, 2 * Math.PI * 390 / many * 1.45), places = HALF - height / 2 - GAP;
    const ring = this.ring = places - height / 2 - GAP - 16, width = 26, half = 180 / many;
    this.rest.replaceChildren();
    this.rest.append(node("circle", { class: "track", r: ring }));
    for (let i = 0; i < of; i++) {
      const [x, y] = at(i * 360 / of, 1);
      this.rest.append(node("path", { class: "notch", d: `M${x * (ring - 13)} ${y * (ring - 13)} L${x * (ring + 13)} ${y * (ring + 13)}` }));
    }
    const angles = anglesOf(stops, of, turn);
    stops.forEach((stop, i) => {
      const angle = angles[i], [x, y] = at(angle, places);
      const [ax, ay] = at(angle - half, ring), [bx, by] = at(angle + half, ring);
      const band = stop.angle === null || stop.angle === undefined ? "unknown" : stop.band || "noview";
      this.rest.append(node("path", { class: `arc ${band}`, "stroke-width": width, d: `M${ax} ${ay} A${ring} ${ring} 0 0 1 ${bx} ${by}` }));
      const scale = height / 1000;
      const group = node("g", { class: `stop${stop.trouble ? " wrong" : ""}`, transform: `translate(${x} ${y - height / 2})` },
        node("title", {}, describe(stop)), node("path", { transform: `scale(${scale})`, d: stop.path || "", "fill-rule": "evenodd" }));
      if (stop.trouble) group.append(node("circle", { class: "flag", cx: 0, cy: height / 2, r: height * .56 }));
      this.rest.append(group);
    });
    this.count.textContent = stops.length;
    this.full.textContent = `of ${of}`;
    this.camera(this.angle);
  }

  camera(angle) {
    this.angle = angle;
    this.mark.style.display = angle === null || angle === undefined ? "none" : "";
    if (this.mark.style.display === "") {
      const [x, y] = at(angle, this.ring - 18);
      this.mark.setAttribute("transform", `translate(${x} ${y}) rotate(${angle + 180})`);
    }
  }
}

// A stop as people call it: stop_09b is stop 9b, any other name is as it is.
export const called = (name) => /^stop_\d+[a-z]?$/.test(name) ? `stop ${name.slice(5).replace(/^0+(?=\d)/, "")}` : name;

// A stop in words: name, angle, band, what is wrong with it.
export function describe(stop) {
  const angle = stop.angle === null || stop.angle === undefined ? "angle not known yet" : `${Math.round(stop.angle)} degrees`;
  return [called(stop.name), angle, stop.band || "not read yet", stop.trouble].filter(Boolean).join(", ");
}
