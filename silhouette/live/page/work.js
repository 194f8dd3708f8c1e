// What the pages for choosing, checking and keeping share: jobs with their progress, and the report's own drawings.

import { ask } from "./link.js";

const LOOK_EVERY = 400;
const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

export const find = (selector, root = document) => root.querySelector(selector);

// An element: make("p", { class: "soft" }, "text", another).
export function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== null) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

const SVG = "http://www.w3.org/2000/svg";
export function draw(tag, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

export const counted = (number, what) => `${number} ${what}${number === 1 ? "" : "s"}`;
// How many stops a pose has: by ring, where it was shot in rings.
export function stopsOf(pose) {
  if (pose.kind === "clip") return "a clip";
  const rings = pose.rings || [], details = pose.close_ups ? [counted(pose.close_ups, "close-up")] : [];
  if (!rings.length) return [counted(pose.stops ?? 0, "stop"), ...details].join(", ");
  const each = rings.map(({ ring, stops }) => `${ring} ${stops ?? "a clip"}`).join(", ");
  return [pose.stops === null ? `rings ${each}` : `${counted(pose.stops, "stop")}: ${each}`, ...details].join(", ");
}

export const when = (seconds) => new Date(1000 * seconds).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });

export function files(list, address) {
  return list.map(({ name, says }) => make("li", {}, make("a", { href: address(name), download: "" }, says),
    make("span", { class: "soft" }, ` ${name}`)));
}

// One job at a time, shown in a box: what is done, how far it is, a button that stops it. It goes on where the page is
// loaded again, and its result is there as long as the program runs.
export class Job {
  // memo: under which name this page remembers the job.
  constructor(box, memo) {
    this.box = box;
    this.memo = memo;
    this.id = null;
    this.unwanted = false;        // whether Stop was pressed
    this.followed = false;        // whether the job was still running when this page was loaded again
    this.words = make("p", { role: "status" });
    this.bar = make("progress", { "aria-label": "How far it is" });
    this.cancel = make("button", { type: "button" }, "Stop");
    this.error = make("p", { class: "problem", role: "alert" });
    this.going = make("div", { class: "going" }, this.words, this.bar, this.cancel);
    this.going.hidden = true;
    box.replaceChildren(this.going, this.error);
    this.cancel.addEventListener("click", () => this.stop());
  }

  stop() {
    this.unwanted = true;         // also where the job has no name yet
    if (this.id) ask("DELETE", `/api/jobs/${this.id}`);
  }

  // The result, or null where it failed or was stopped: then the box says so.
  async run(what, poses, settings) {
    this.unwanted = false;
    this.say("Beginning.");
    const begun = await ask("POST", "/api/jobs", { what, poses, settings });
    if (!begun.ok) return this.fail(begun.words);
    sessionStorage.setItem(this.memo, begun.data.job);
    return this.follow(begun.data.job);
  }

  // What became of the job of this page before it was loaded again; null where there was none, or it is forgotten.
  async again() {
    const id = sessionStorage.getItem(this.memo);
    if (!id) return null;
    const found = await ask("GET", `/api/jobs/${id}`);
    this.followed = found.ok && found.data.state === "running";
    if (this.followed) return this.follow(id);
    return found.ok && found.data.state === "done" ? found.data.result : null;
  }

  async follow(id) {
    this.id = id;
    if (this.unwanted) this.stop();
    for (let silent = 0; ;) {
      const { ok, status, data, words } = await ask("GET", `/api/jobs/${id}`);
      silent = ok ? 0 : silent + 1;
      if (!ok && (status || silent > 20)) return this.fail(words);
      if (ok && data.state === "done") return this.end(data.result);
      if (ok && data.state === "stopped") return this.fail("", "Stopped. Nothing was changed.");
      if (ok && data.state === "failed") return this.fail(data.error);
      if (ok) this.say(data.doing || "Beginning.", data.done, data.total);
      await pause(LOOK_EVERY);
    }
  }

  say(words, done = 0, total = 0) {
    this.error.textContent = "";
    this.going.hidden = this.cancel.hidden = this.bar.hidden = false;
    this.box.setAttribute("aria-busy", "true");
    const far = total > 1 ? `${words}, ${Math.min(done, total)} of ${total}` : words;
    if (this.words.textContent !== far) this.words.textContent = far;
    if (total > 1) { this.bar.max = total; this.bar.value = done; } else this.bar.removeAttribute("value");
  }

  end(result) {
    this.id = null;
    this.going.hidden = true;
    this.box.removeAttribute("aria-busy");
    return result;
  }

  fail(error, said = "") {
    this.end();
    this.error.textContent = error;
    if (said) {
      this.going.hidden = false;
      this.cancel.hidden = this.bar.hidden = true;
      this.words.textContent = said;
    }
    sessionStorage.removeItem(this.memo);
    return null;
  }
}

// Takes the drawings and the words out of a report page, as it was written, and puts them into a part of this page.
// Gives the names of its poses, or null where the text is no report.
export function adoptReport(text, into) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const parts = [...page.querySelectorAll("header > .choose, body > svg.apart, body > template, main > *, footer > p, #data")];
  if (!page.querySelector("#data") || !page.querySelector(".panes")) return null;
  page.querySelector("#look")?.remove();
  into.replaceChildren(...parts.map((part) => document.importNode(part, true)));
  return JSON.parse(page.querySelector("#data").textContent);
}

// A small silhouette of one pose of the report that is on this page: its best view.
export function smallOf(data, number) {
  const views = data[number].views, template = document.getElementById(`pose-${number}`);
  const there = views.map((view, i) => ({ view, i })).filter(({ i }) => document.getElementById(`p${number}v${i}`));
  if (!there.length || !template) return null;
  const best = there.reduce((a, b) => ((b.view.r?.[0] ?? -1) > (a.view.r?.[0] ?? -1) ? b : a));
  const { half, tall } = template.dataset;
  return draw("svg", { viewBox: `${-half} ${970 - tall} ${2 * half} ${Number(tall) + 60}`, "aria-hidden": "true", class: "small-figure" },
    draw("path", { class: "floor", d: "M-3000 1000H3000" }),
    draw("use", { href: `#p${number}v${best.i}`, class: best.view.c,
      transform: `translate(0 ${1000 * (1 - best.view.h)}) scale(${best.view.h})` }));
}

// Whether any of a part of this page is on the screen.
export function onScreen(part) {
  const { top, bottom } = part.getBoundingClientRect();
  return top < innerHeight && bottom > 0;
}
