// Choose: the poses of the folder, more of them added, compared, and turned side by side.

import { ArcHandles } from "./arc.js";
import { Adding } from "./add.js";
import { ask } from "./link.js";
import { Job, adoptReport, counted, files, find, make, onScreen, smallOf, stopsOf, when } from "./work.js";

const INTENTS = [["open", "an open pose"], ["closed", "a closed pose"], ["relief", "a relief"]];
const job = new Job(find("#job").appendChild(make("div")), "job:rank");
const meant = new Map();          // id of a pose to what it is meant to be, where a person said it here
let poses = [], results = null, report = null, turning = null, handles = null;
let there = null;                 // how many poses were shown last

async function load() {
  const [found, last] = await Promise.all([ask("GET", "/api/poses"), ask("GET", "/api/results")]);
  if (!found.ok || !last.ok) {
    job.fail(found.words || last.words);
    return;
  }
  const before = results?.made;
  poses = found.data;
  results = last.data;
  find("#where").textContent = `The folder: ${results.folder}`;
  if (results.made !== before) await showReport();
  showPoses();
  showState();
}

async function showReport() {
  turning?.end();
  turning = report = null;
  if (results.made) {
    const text = await fetch("/api/results/report").then((answer) => (answer.ok ? answer.text() : ""));
    report = adoptReport(text, find("#report"));
  }
  find("#comparison").hidden = !report;
  if (!report) return;
  find("#made").textContent = `Made ${when(results.made)}.`;
  find("#wheels").made = false;
  find("#files").replaceChildren(...files(results.files, (name) => `/api/results/${name}`));
  setArc(results.arc);
  turning = window.turnFigures(0, () => onScreen(find("#report")));
  handles = new ArcHandles(find("#pane-0 .turntable"), arcTyped(), arcMoved);
  turning.hear(showHandles);
  turning.hear(showWheels);
  showHandles();
  showWheels();
}

// The candidates in order, each as its wheel.
function showWheels() {
  const [first, second] = turning.shown();
  find("#turn-title").textContent = report.length > 1 ? "Turn them, one or two side by side" : "Turn it";
  find("#wheels").hidden = report.length < 2;
  if (find("#wheels").childElementCount !== report.length || !find("#wheels").made) find("#wheels").replaceChildren(...report.map(wheelItem));
  find("#wheels").made = true;
  for (const button of find("#wheels").querySelectorAll("button")) {
    const number = Number(button.dataset.number);
    button.setAttribute("aria-pressed", number === (button.dataset.as === "first" ? first : second));
  }
}

function wheelItem(pose, number) {
  const parts = document.getElementById(`pose-${number}`).content, rank = results.poses[pose.name]?.rank;
  const show = (as, says) => {
    const button = make("button", { type: "button", "data-number": number, "data-as": as, "aria-label": `${says}: ${pose.name}` }, says);
    button.addEventListener("click", () => {
      const chooser = find(as === "first" ? "#pick" : "#compare"), back = button.getAttribute("aria-pressed") === "true" && as !== "first";
      chooser.value = back ? "" : number;
      chooser.dispatchEvent(new Event("change"));
      if (!back) find("#turn-title").scrollIntoView();
    });
    return button;
  };
  return make("li", {}, make("h3", {}, rank ? `${rank}. ${pose.name}` : pose.name), make("p", {}, find(".lead", parts).textContent),
    find("svg.wheel", parts).cloneNode(true), make("p", { class: "buttons" }, show("first", "Turn it"), show("second", "Set beside")));
}

// ------------------------------------------------------------------------------------------------------- the poses

function numberOf(pose) {
  return report ? report.findIndex((one) => one.name === pose.called) : -1;
}

function showPoses() {
  const place = (pose) => { const number = numberOf(pose); return number < 0 ? report?.length ?? 0 : number; };
  const failed = (pose) => Boolean(pose.problem || whyNot(pose));
  const row = [...poses].sort((a, b) => failed(a) - failed(b) || place(a) - place(b));
  find("#poses").replaceChildren(...row.map(card));
  find("#add").classList.toggle("first", !poses.length);
  if (there === null) find("#ways").open = !poses.length;
  there = poses.length;
  find("#poses-title").textContent = poses.length ? `${counted(poses.length, "pose")} in this folder` : "No pose yet";
  find("#compare-them").textContent = poses.length === 1 ? "Read it" : "Compare them";
  find("#bar").hidden = !poses.length;
  find("#hint").hidden = poses.length > 1;
}

const hasStops = (pose) => pose.stops !== 0;
const isNew = (pose) => results.changed.includes(pose.id);
const whyNot = (pose) => (isNew(pose) ? "" : results.left_out[pose.called] || results.poses[pose.called]?.problem || "");
const intentOf = (pose) => meant.get(pose.id) || results.poses[pose.called]?.intent || "open";

function card(pose) {
  const number = numberOf(pose), small = number < 0 ? null : smallOf(report, number);
  const name = `name-${pose.id}`;
  const picture = make("div", { class: "picture" }, small || make("span", { class: "soft" }, whyNot(pose) || pose.problem ? "cannot be read" : "not read yet"));
  const words = make("div", { class: "words" },
    make("h3", { id: name }, make("a", { href: `/pose/${pose.id}` }, pose.name)),
    make("p", { class: "soft" }, [stopsOf(pose), checkedWords(pose)].filter(Boolean).join(", ")));
  const problem = pose.problem || whyNot(pose);
  if (problem) words.append(make("p", { class: "problem" }, problem));
  else if (number >= 0) {
    const head = document.getElementById(`pose-${number}`).content, rank = results.poses[pose.called]?.rank;
    words.append(make("p", {}, make("b", {}, rank && poses.length > 1 ? `${rank}. ` : ""), find(".lead", head).textContent));
    if (isNew(pose)) words.append(make("p", { class: "note" }, "Its pictures have changed since."));
  }
  const choose = make("select", { "aria-describedby": name }, ...INTENTS.map(([value, says]) => make("option", { value }, says)));
  choose.value = intentOf(pose);
  choose.addEventListener("change", () => { meant.set(pose.id, choose.value); showState(); });
  words.append(make("label", { class: "meant" }, "Meant to be ", choose));
  return make("li", { class: "card", "data-id": pose.id }, picture, words);
}

function checkedWords(pose) {
  if (!pose.checked) return "";
  if (pose.checked.older) return "changed since its check";
  return pose.checked.retakes ? `${counted(pose.checked.retakes, "thing")} to retake` : "checked";
}

// What is not as it was when the comparison was made.
function showState() {
  const said = [];
  const asked = poses.filter((pose) => results.poses[pose.called] && intentOf(pose) !== results.poses[pose.called].intent);
  if (results.made) {
    if (results.changed.length) said.push(`The comparison is older than the pictures of ${named(results.changed)}.`);
    if (results.missing.length) said.push(`It still holds ${listed(results.missing)}, not in the folder any more.`);
    if (asked.length) said.push(`You changed what ${listed(asked.map((pose) => pose.name))} ${asked.length > 1 ? "are" : "is"} meant to be.`);
  }
  find("#old").textContent = said.length ? `${said.join(" ")} Compare again to see it.` : "";
  find("#old").hidden = !said.length;
  find("#compare-them").disabled = !poses.some(hasStops);
  find("#count").hidden = !report || same(arcTyped(), results.arc);
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b && b.map(Math.round));
const named = (ids) => listed(poses.filter((pose) => ids.includes(pose.id)).map((pose) => pose.name));
function listed(names) {
  if (names.length > 4) return `${names.slice(0, 3).join(", ")} and ${names.length - 3} more`;
  return names.length > 1 ? `${names.slice(0, -1).join(", ")} and ${names.at(-1)}` : names.join("");
}

// --------------------------------------------------------------------------------------------------- compare and arc

async function compare(where) {
  where.append(job.box);
  const asked = { intents: poses.filter(hasStops).map(intentOf), arc: report ? arcTyped() : null, paper: find("#paper").value };
  busy(true);
  const done = await job.run("rank", poses.filter(hasStops).map((pose) => pose.id), asked);
  busy(false);
  if (done) await compared();
}

async function compared() {
  meant.clear();
  results.made = null;
  await load();
  find("#comparison-title").focus({ preventScroll: true });
  find("#comparison").scrollIntoView();
}

function busy(is) {
  find("#compare-them").disabled = find("#count").disabled = is;
}

function arcTyped() {
  if (!find("#only-arc").checked) return null;
  const ends = ["#arc-from", "#arc-to"].map((id) => ((Math.round(find(id).valueAsNumber) % 360) + 360) % 360);
  return ends.every(Number.isFinite) ? ends : null;
}

function setArc(arc) {
  find(`input[name=counts][value=${arc ? "arc" : "all"}]`).checked = true;
  if (arc) [find("#arc-from").value, find("#arc-to").value] = arc.map(Math.round);
  find("#arc-ends").hidden = !arc;
}

function arcMoved(from, to) {
  find("#arc-from").value = from;
  find("#arc-to").value = to;
  showState();
}

function showHandles() {
  handles.show(find("#pane-0 .wheel"), arcTyped());
}

find("#arc").addEventListener("input", () => {
  find("#arc-ends").hidden = !find("#only-arc").checked;
  showHandles();
  showState();
});
find("#arc").addEventListener("submit", (event) => { event.preventDefault(); compare(find("#job-again")); });
find("#compare-them").addEventListener("click", () => compare(find("#job")));
find("#print").addEventListener("click", () => window.print());
new Adding(load);

await load();
busy(true);
const again = await job.again();
busy(false);
showState();
if (again && job.followed) await compared();
