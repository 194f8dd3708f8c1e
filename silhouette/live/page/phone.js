// The phone's page: the code that pairs it, then what its camera app took, sent piece by piece, checked, and told in words.

import { ask } from "./link.js";
import { Sending } from "./sending.js";

const find = (id) => document.getElementById(id);
const LOOK_EVERY = 700, SAY_EVERY = 25;
const wait = (ms) => new Promise((done) => { setTimeout(done, ms); });
const megabytes = (bytes) => bytes >= 1e9 ? `${(bytes / 1e9).toFixed(1)} GB` : `${Math.max(1, Math.round(bytes / 1e6))} MB`;
const isClip = (file) => file.type.startsWith("video/") || /\.(mp4|mov|m4v|3gp|mkv|webm|avi)$/i.test(file.name);

if (find("pair")) pairing();
if (find("send")) sending();

function pairing() {
  find("pair").addEventListener("submit", async (event) => {
    event.preventDefault();
    find("pair-problem").textContent = "";
    const answer = await ask("POST", "/pair", { code: find("code").value });
    if (answer.ok) return location.reload();
    find("pair-problem").textContent = answer.words;
    find("code").value = "";
    find("code").focus();
    return null;
  });
}

function sending() {
  let now = null, held = false, busy = false, spoken = -1, awake = null;

  const stay = async () => {
    try { awake = await navigator.wakeLock.request("screen"); } catch { awake = null; }   // the phone does not do it: no harm
  };
  document.addEventListener("visibilitychange", () => { if (busy && document.visibilityState === "visible") stay(); });
  window.addEventListener("beforeunload", (event) => { if (busy) event.preventDefault(); });
  find("files").addEventListener("change", (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    if (files.length && !busy) take(files);
  });
  find("pause").addEventListener("click", () => {
    held = !held;
    find("pause").setAttribute("aria-pressed", held);
    find("pause").textContent = held ? "Go on" : "Pause";
    now?.hold(held);
  });
  find("stop").addEventListener("click", () => now?.stop());
  find("again").addEventListener("click", () => {
    find("result").hidden = true;
    find("send").hidden = find("hint").hidden = false;
    find("said").textContent = "";
    find("files").focus();
  });

  async function take(files) {
    busy = true;
    held = false;
    spoken = -1;
    find("pause").setAttribute("aria-pressed", "false");
    find("pause").textContent = "Pause";
    find("problem").textContent = find("said").textContent = "";
    find("result").hidden = true;
    find("send").hidden = find("hint").hidden = true;
    find("sending").hidden = false;
    find("pause").focus();
    stay();
    const poses = await all(files);
    awake?.release();
    find("sending").hidden = true;
    busy = false;
    if (poses) {
      find("said").textContent = "All has arrived.";
      for (const pose of poses) if (!await check(pose)) break;
    }
    if (find("result").hidden) find("send").hidden = find("hint").hidden = false;
  }

  // The poses that the files became; null where not all arrived.
  async function all(files) {
    const total = files.reduce((sum, file) => sum + file.size, 0), poses = [], name = find("name").value.trim();
    let before = 0, stills = "";
    for (const [k, [file, as]] of named(files).entries()) {
      const told = (have, size, state) => show(k + 1, files.length, as, (before + have) / total, size, state);
      now = new Sending(file, told);
      now.hold(held);
      told(0, file.size, held ? "held" : "on");
      const clip = isClip(file);
      const answer = await now.send({ as, pose: clip ? "" : stills, name: clip ? name : stills ? "" : name || "from the phone" });
      if (answer.stopped) find("said").textContent = "Stopped. What had arrived whole is kept on the computer.";
      if (answer.words) find("problem").textContent = answer.words;
      if (!answer.done) return null;
      if (!clip) stills ||= answer.pose;
      if (answer.pose && !poses.includes(answer.pose)) poses.push(answer.pose);
      before += file.size;
    }
    return poses;
  }

  function show(number, of, name, share, size, state) {
    const which = of > 1 ? `${number} of ${of}: ` : "", percent = Math.floor(100 * share);
    const words = { on: `${percent} % has arrived`, held: "Paused", broken: "The connection broke. It goes on by itself when it is back" }[state];
    find("sending-words").textContent = `${which}${name} (${megabytes(size)}). ${words}.`;
    find("bar").value = share;
    const step = state === "on" ? Math.floor(percent / SAY_EVERY) : state;
    if (step !== spoken && step !== 0) find("said").textContent = state === "on" ? `${percent} % has arrived.` : `${words}.`;
    spoken = step;
  }

  // Has one pose checked and says what came out; false where it could not be.
  async function check(pose) {
    let told = await ask("POST", "/api/phone/check", { pose });
    for (let k = 0; !told.ok && told.status === 409 && k < 200; k += 1) {        // another piece of work is being done
      find("said").textContent = "The computer is busy. The check comes after that.";
      await wait(3000);
      told = await ask("POST", "/api/phone/check", { pose });
    }
    if (!told.ok) return fail(told.words);
    const address = `/api/phone/check/${told.data.job}`;
    for (let lost = 0; lost < 100;) {
      const job = await ask("GET", address);
      if (job.ok && job.data.state === "done") return report(job.data.result);
      if (job.ok && job.data.state !== "running") return fail(job.data.error || "The check was stopped on the computer.");
      if (!job.ok && job.status) return fail(job.words);
      lost = job.ok ? 0 : lost + 1;
      if (job.ok) find("said").textContent = "All has arrived. The computer checks the turn.";
      await wait(LOOK_EVERY);
    }
    return fail("The computer does not answer any more.");
  }

  function fail(words) {
    find("said").textContent = "All has arrived, and is kept on the computer.";
    find("problem").textContent = words;
    return false;
  }

  function report(result) {
    const first = find("result").hidden, row = (head, ...lines) => {
      const item = document.createElement("li"), strong = document.createElement("b");
      strong.textContent = head;
      item.append(strong, ...lines.filter(Boolean).map((line) => {
        const p = document.createElement("p");
        p.textContent = line;
        return p;
      }));
      return item;
    };
    const marks = { retake: "Retake", look: "Look again", pass: "In order" };
    const found = result.findings.filter((one) => one.verdict !== "pass");
    const rows = [...found.map((one) => row(marks[one.verdict] || one.verdict, one.said, one.do)), ...result.notes.map((note) => row("Note", note))];
    if (first) find("findings").replaceChildren();
    find("verdict").textContent = first ? result.verdict : `${find("verdict").textContent} ${result.verdict}`;
    find("rests-on").textContent = result.rests_on;
    find("findings").append(...rows);
    find("said").textContent = "All has arrived and is checked.";
    find("result").hidden = false;
    if (first) find("result-title").focus();
    return true;
  }
}

// Files in the order in which they were taken, each with a name of its own: phones call many pictures alike.
function named(files) {
  const sorted = [...files].sort((a, b) => a.lastModified - b.lastModified || a.name.localeCompare(b.name, "en", { numeric: true }));
  const alike = new Set(files.map((file) => file.name)).size < files.length;
  return sorted.map((file, k) => [file, alike ? file.name.replace(/^(.*?)(\.[^.]*)?$/, (_, stem, suffix = "") => `${stem} ${k + 1}${suffix}`) : file.name]);
}
