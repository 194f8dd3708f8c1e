// Check and keep: one pose, its stops, what to retake, and the set that is kept of it.

import { ask } from "./link.js";
import { Job, adoptReport, counted, draw, files, find, make, onScreen, stopsOf, when } from "./work.js";

const id = location.pathname.split("/").pop();
const HEADS = { retake: "Retake", look: "Look at" };
const job = Object.fromEntries(["check", "keep", "armature", "read", "mend"].map((what) => [what, new Job(find(`#${what}-job`), `job:${what}:${id}`)]));
let pose = null, results = null;

async function load() {
  const [found, last] = await Promise.all([ask("GET", `/api/poses/${id}`), ask("GET", "/api/results")]);
  if (!found.ok || !last.ok) {
    find("#problem").textContent = found.words || last.words;
    for (const section of document.querySelectorAll("main > section")) section.hidden = true;
    return false;
  }
  pose = found.data;
  results = last.data;
  document.title = `${pose.name}: check and keep`;
  find("#name").textContent = pose.name;
  find("#shoot").href = `/live?pose=${id}`;
  find("#rings-box").hidden = pose.kind === "clip" || !pose.stops;
  for (const ring of ["low", "high"]) find(`#shoot-${ring}`).href = `/live?pose=${id}&ring=${ring}`;
  find("#facts").textContent = pose.kind === "clip" ? "A clip" : stopsOf(pose);
  find("#problem").textContent = pose.problem;
  if (!find("#set-name").value) find("#set-name").value = pose.name.slice(0, 80);
  const { checked } = pose;
  find("#check-files").replaceChildren(...(checked ? files(checked.files, (name) => `/api/poses/${id}/check/${name}`) : []));
  find("#check-old").hidden = !checked?.older;
  find("#check-old").textContent = checked?.older ? `The pictures have changed since the check of ${when(checked.made)}. Check again.` : "";
  showArmature(pose.armature);
  showMended(pose.mending);
  await showSets();
  return true;
}

// ----------------------------------------------------------------------------------------------------------- the check

async function check() {
  const asked = { height: number("#height"), paper: find("#paper").value };
  const result = await busy("#check", () => job.check.run("check", [id], asked));
  if (!result) return;
  showCheck(result);
  await load();
  find("#verdict").focus();
}

function showCheck(result) {
  find("#checked").hidden = false;
  find("#verdict").textContent = result.verdict;
  find("#rests-on").textContent = result.rests_on;
  const bad = result.findings.filter((one) => one.verdict !== "pass"), good = result.findings.filter((one) => one.verdict === "pass");
  const unanswered = result.unanswered.map(({ said, do: helps }) => make("li", {}, make("h3", {}, "Not checked"), make("p", {}, said), make("p", {}, helps)));
  const rows = bad.map((one) => findingRow(one, result));
  find("#findings").replaceChildren(...(result.exit_code === 2 ? [...unanswered, ...rows] : [...rows, ...unanswered]));
  find("#passed-box").hidden = !good.length;
  find("#passed-title").textContent = `In order: ${result.passed.join("; ")}`;
  find("#passed").replaceChildren(...good.map((one) => make("li", {}, `${one.check}: ${one.said} ${one.do}`)));
  find("#stops").replaceChildren(...result.stops.map((stop) => stopItem(stop, result, true)));
  find("#notes").replaceChildren(...result.notes.map((note) => make("li", {}, note)));
  showRings(result);
  showAgain(result);
}

function findingRow(one, result) {
  const row = make("li", { class: one.verdict }, make("h3", {}, make("span", { class: "mark" }, HEADS[one.verdict]), ` ${one.check}`), make("p", {}, one.said));
  if (one.do) row.append(make("p", {}, make("b", {}, one.do)));
  const most = 12;
  if (one.stops.length) {
    row.append(make("ol", { class: "plain stops few" }, ...one.stops.slice(0, most).map((k) => stopItem(result.stops[k], result, false))));
    if (one.stops.length > most) row.append(make("p", { class: "soft" }, `and ${counted(one.stops.length - most, "stop")} more`));
  }
  return row;
}

function figure(stop) {
  return draw("path", { d: stop.path, class: stop.unclear ? "doubted" : "seen", transform: `translate(0 ${1000 * (1 - stop.height)}) scale(${stop.height})` });
}

function stopItem(stop, result, full) {
  const half = 1000 * result.half + 30;
  const picture = draw("svg", { viewBox: `${-half} -30 ${2 * half} 1060`, "aria-hidden": "true" }, draw("path", { class: "floor", d: "M-3000 1000H3000" }));
  if (stop.path) picture.append(figure(stop));
  const item = make("li", { class: stop.mark }, picture, make("b", {}, stop.called));
  if (full) item.append(make("span", { class: "soft" }, stop.name), make("span", { class: "mark" }, stop.unclear ? "not made out" : (HEADS[stop.mark] || "").toLowerCase()));
  return item;
}

// A picture for each ring; most poses have one.
function showRings(result) {
  const first = find("#ring"), named = [...new Set(result.stops.map((stop) => stop.ring))];
  find("#rings").replaceChildren(...named.flatMap((name, k) => {
    const ring = k ? draw("svg", { class: "ring", role: "img", viewBox: first.getAttribute("viewBox") }) : first;
    showRing(result, result.stops.filter((stop) => stop.ring === name), ring);
    return name ? [make("h3", {}, `${name[0].toUpperCase()}${name.slice(1)} ring`), ring] : [ring];
  }));
}

// The stops where the camera stood, the front at the foot of the page; those to retake are marked.
function showRing(result, stops, ring) {
  const placed = stops.filter((stop) => stop.angle !== null);
  ring.toggleAttribute("hidden", !placed.length);
  if (!placed.length) return;
  const closing = placed.length > 2 && Math.abs(((placed[0].angle - placed.at(-1).angle + 540) % 360) - 180) < 8 && placed.at(-1).mark === "pass";
  const shown = closing ? placed.slice(0, -1) : placed, radius = 350;
  const tall = Math.min(220, 2 * Math.PI * radius / shown.length / Math.max(2 * result.half, 0.35)), scale = tall / 1000;
  const at = (angle, r) => [-r * Math.sin(angle * Math.PI / 180), r * Math.cos(angle * Math.PI / 180)];
  ring.replaceChildren(
    draw("circle", { r: 130, class: "limit" }), ...holes(result, stops, radius, at),
    draw("ellipse", { rx: 72, ry: 34, class: "shoulders" }), draw("circle", { r: 27, class: "head" }), draw("path", { class: "head", d: "M-9 24h18l-9 18z" }),
    draw("text", { y: 190 }, "front"), draw("text", { y: -160 }, "back"),
    ...shown.map((stop) => {
      const [x, y] = at(stop.angle, radius), group = draw("g", { class: stop.mark });
      if (stop.path) group.append(draw("g", { transform: `translate(${x.toFixed(1)} ${(y - tall / 2).toFixed(1)}) scale(${scale.toFixed(4)})` }, figure(stop)));
      const [tx, ty] = at(stop.angle, radius + tall / 2 + 34);
      if (stop.mark !== "pass") group.append(draw("text", { x: tx.toFixed(1), y: (ty + 11).toFixed(1) }, `${stop.called} ${stop.mark === "retake" ? "!" : "?"}`));
      return group;
    }));
  const marked = stops.filter((stop) => stop.mark === "retake").map((stop) => stop.called);
  ring.setAttribute("aria-label", `The stops seen from above. ${marked.length ? `To retake: ${marked.join(", ")}.` : "None is marked to retake."}`);
}

// Stretches of the turn in which stops are missing.
function holes(result, stops, radius, at) {
  const gaps = result.findings.flatMap((one) => (one.verdict === "pass" ? [] : one.gaps))
    .filter((pair) => stops.includes(result.stops[pair[0]])).map((pair) => pair.map((k) => result.stops[k].angle));
  return gaps.filter((pair) => !pair.includes(null)).flatMap(([a, b]) => {
    const wide = ((b - a + 540) % 360) - 180, from = a + wide * .2, to = b - wide * .2, [x, y] = at(a + wide / 2, radius);
    const d = `M${at(from, radius).map((n) => n.toFixed(1))}A${radius} ${radius} 0 0 ${wide > 0 ? 1 : 0} ${at(to, radius).map((n) => n.toFixed(1))}`;
    return [draw("path", { d, class: "hole" }), draw("text", { x: (x * .74).toFixed(1), y: (y * .74).toFixed(1) }, "missing")];
  });
}

function showAgain(result) {
  const clip = pose.kind === "clip", filmed = (ring) => pose.rings.some((one) => one.ring === ring && one.stops === null);
  const live = result.again.filter(({ ring }) => !clip && !filmed(ring)), many = result.again.length > 0;
  const [first, ...others] = live, button = find("#again");
  button.hidden = !first;
  if (first) againTo(button, first);
  find("#agains").replaceChildren(button, ...others.map((one) => againTo(make("a", { class: "button" }), one)));
  find("#wanted").replaceChildren(...live.flatMap(({ ring, wanted }) => wanted.map((words) => make("li", {}, ring ? `${ring} ring: ${words}` : words))));
  find("#wanted-box").hidden = !first;
  find("#again-said").hidden = !many;
  find("#again-said").textContent = clip ? "This pose is a clip: single stops cannot be put into it. Film the turn again, or shoot the pose live."
    : !first ? "This ring is a clip: single stops cannot be put into it. Film its turn again."
    : "The page before the camera asks for them in their order, shows the earlier outline, and puts each in its place. A still that is replaced is kept in the folder replaced.";
}

// A link to the page before the camera that asks for the stops of one ring.
function againTo(link, { ring, want }) {
  const stops = want.split(","), missing = stops.every((one) => one.startsWith("after:")), of = ring ? ` of the ${ring} ring` : "";
  link.href = `/live?pose=${id}${ring ? `&ring=${ring}` : ""}&want=${encodeURIComponent(want)}`;
  link.textContent = missing ? `Shoot the missing stops${of}` : stops.length === 1 ? `Retake this stop${of}` : `Retake these ${stops.length} stops${of}, one by one`;
  return link;
}

// ------------------------------------------------------------------------------------------------------------- the set

async function keep() {
  const asked = { name: find("#set-name").value, height: number("#model-height"), pose_height: number("#pose-height"), scale: number("#scale"),
    photographs: find("#photographs").checked, overwrite: find("#overwrite").checked, paper: find("#paper").value };
  const result = await busy("#keep", () => job.keep.run("export", [id], asked));
  if (!result) return;
  await showSets(result.name);
  const kept = find("#kept"), what = result.photographs ? "silhouettes, and photographs in its folder photographs" : "silhouettes only";
  kept.replaceChildren(make("p", {}, make("b", {}, `Kept: ${result.name}, ${counted(result.stops, "stop")}, ${what}.`)),
    make("p", {}, `It lies in ${results.folder}, in the folder sets/${result.name}.`), ...result.notes.map((note) => make("p", { class: "soft" }, note)));
  kept.hidden = false;
  kept.focus();
}

// `open`: the name of the set whose files are shown at once.
async function showSets(open = "") {
  const found = await ask("GET", "/api/sets");
  const sets = found.ok ? found.data : [];
  find("#sets-box").hidden = !sets.length;
  find("#sets").replaceChildren(...sets.map((set) => make("li", {},
    make("details", set.name === open ? { open: "" } : {}, make("summary", {}, `${set.name}, ${set.photographs ? "with photographs" : "silhouettes only"}, ${when(set.made)}`),
      make("ul", { class: "plain files" }, ...files(set.files, (name) => `/api/sets/${set.id}/${name}`))))));
}

// -------------------------------------------------------------------------------------------------------- the armature

async function armature() {
  const asked = { height: number("#armature-height"), pose_height: number("#armature-pose-height"), scale: number("#armature-scale"),
    shrinkage: number("#shrinkage"), tape: find("#tape").value, fit_to_tape: find("#fit-to-tape").checked, paper: find("#armature-paper").value };
  const result = await busy("#armature", () => job.armature.run("armature", [id], asked));
  if (!result) return;
  await load();
  sayArmature(result);
  find("#armature-said").focus();
}

function sayArmature(result) {
  find("#armature-said").replaceChildren(...result.said.map((words) => make("li", {}, words)));
  find("#armature-said").hidden = false;
}

function showArmature(made) {
  find("#armature-files").replaceChildren(...(made ? files(made.files, (name) => `/api/poses/${id}/armature/${name}`) : []));
  find("#armature-old").hidden = !made?.older;
  find("#armature-old").textContent = made?.older ? `The pictures have changed since the armature of ${when(made.made)}. Make it again.` : "";
}

// ------------------------------------------------------------------------------------------------- reading and mending

async function showReading() {
  const there = results.poses[pose.called] && !results.changed.includes(pose.id);
  if (there) {
    const text = await fetch("/api/results/report").then((answer) => (answer.ok ? answer.text() : ""));
    if (showReport(text)) {
      find("#read-said").textContent = `As it was compared, ${when(results.made)}.`;
      find("#read").hidden = true;
      return;
    }
  }
  find("#read-said").textContent = "It has not been read since its pictures last changed.";
  const result = await job.read.again();
  if (result) readDone(result);
}

function readDone(result) {
  if (showReport(result.report)) find("#read-said").textContent = "Read by itself, not compared.";
}

function showReport(text) {
  const data = adoptReport(text, find("#report")), number = data ? Math.max(data.findIndex((one) => one.name === pose.called), 0) : 0;
  if (!data) return false;
  find("#report .choose").hidden = true;
  window.turnFigures(number, () => onScreen(find("#report")));
  return true;
}

async function read() {
  const result = await busy("#read", () => job.read.run("read", [id], {}));
  if (result) {
    readDone(result);
    find("#read-title").focus();
  }
}

async function mend() {
  const result = await busy("#mend", () => job.mend.run("mend", [id], {}));
  if (!result) return;
  const doubted = result.doubted ? `${result.doubted} of them not trusted and shown first` : "all of them trusted";
  showMended(`mend/${result.name}`, `${counted(result.stills, "cut-out")} to look at, ${doubted}. `);
  find("#mended").focus();
}

function showMended(where, said = "") {
  find("#mended").hidden = !where;
  find("#mended").textContent = `${said}The page is ${where} in ${results.folder}: open it in a browser. It holds photographs: keep it private, and delete it when the masks are saved.`;
}

// ------------------------------------------------------------------------------------------------------------ the rest

function number(selector) {
  const value = find(selector).valueAsNumber;
  return Number.isFinite(value) ? value : null;
}

// One thing at a time: the program works out one job.
async function busy(selector, work) {
  const all = ["#check", "#keep", "#armature", "#read", "#mend"].map((one) => find(one));
  for (const one of all) one.disabled = true;
  try {
    return await work();
  } finally {
    for (const one of all) one.disabled = false;
  }
}

const on = (selector, what, call) => find(selector).addEventListener(what, (event) => { event.preventDefault(); call(); });
on("#check-form", "submit", check);
on("#keep-form", "submit", keep);
on("#armature-form", "submit", armature);
on("#read", "click", read);
on("#mend", "click", mend);

if (await load()) {
  const asked = new URLSearchParams(location.search).get("check") === "now";
  if (asked) {
    history.replaceState(null, "", location.pathname + location.hash);  // once is enough
    await check();
  } else {
    const result = await busy("#check", () => job.check.again());
    if (result) showCheck(result);
    const armed = await busy("#armature", () => job.armature.again());
    if (armed) sayArmature(armed);
  }
  await showReading();
}
