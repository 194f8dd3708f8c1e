// The live page: a camera in, the silhouette and what is to be said of it out. What is decided is decided by the
// program; this page shows it, tells it by ear and in writing, and sends what the person asks for.
import { Camera } from "/page/camera.js";
import { Link, ask } from "/page/link.js";
import { KINDS, Sound, lengthOf } from "/page/sound.js";
import { Wheel, called, describe } from "/page/wheel.js";

const el = Object.fromEntries([...document.querySelectorAll("[id]")].map((one) => [one.id, one]));
const stage = el.stage, query = new URLSearchParams(location.search);

const COUNTDOWN_S = 10;         // to step out of the frame
const EMPTY_WAIT_S = 12;        // for the empty picture after the countdown
const SAID_MS = 6000;           // a signal in writing stays for so long at least
const STEADY_MS = 700;          // so long one reason stays before another takes its place
const CALM_MS = 4000;           // between two announcements of the band to a screen reader
const AGAIN_MS = 600;           // a second tap within this is the same one
const HELD_BACK_MS = 1500;      // trouble of the same kind is announced again only after it was away for so long

const now = {
  phase: "setup",               // setup, empty (the countdown), live
  pose: query.get("pose") || "", running: "", stops: 24, turn: "left",
  wheel: [], wanted: [], said: [], sayTimer: 0, notKept: new Set(), seen: null, emptyDone: false, paused: false, linked: true,
  ownFrames: false, lastTaken: -Infinity, timer: 0,
};

let greeted;
const greeting = new Promise((resolve) => { greeted = resolve; });  // the program has said how things stand

const sound = new Sound();
const link = new Link(heard, linkChanged);
const camera = new Camera(el.picture, (data) => link.send(data), () => noCamera("The camera was taken away. Plug it in, or pick another one."));
const wheel = new Wheel(el.wheel);

// ------------------------------------------------------------------------------------------ what the program says

function heard(message) {
  if (message.kind === "seen") see(message);
  if (message.kind === "word") hear(message);
  if (message.kind === "turn") {
    now.running = message.pose;
    if (now.phase !== "setup") shoots(message.pose);
  }
  if (now.seen) greeted();
  for (const signal of message.signals || []) say(signal);
}

function see(seen) {
  const captured = camera.answered(seen.frame);
  now.seen = seen;
  if (seen.take !== null && captured !== null) post(seen.take);  // it was asked of this page's camera
  if (seen.state !== "empty-room" && now.phase === "empty" && now.emptyDone) enter("live");
  if (stage.dataset.state !== seen.state) {
    set("state", seen.state);
    showDo();
    if (seen.state === "no-camera" && !camera.running && now.phase !== "setup") noCamera(WAITING);
  }
  if (!seen.skipped) drawShape(seen);
  drawWords(seen);
  drawSide(seen);
  const closed = seen.state === "closed" && now.phase === "live";
  if (closed && el.closed.hidden) stage.scrollIntoView();
  el.closed.hidden = !closed;
  if (captured !== null && !seen.skipped) afterPaint(() => drawn(captured));
}

// Which pose is shot, here or by another page.
function shoots(pose) {
  now.pose = pose;
  el.check.href = `/pose/${encodeURIComponent(pose)}?check=now`;
  query.set("pose", pose);  // loaded again, the page goes on with it
  history.replaceState(null, "", `${location.pathname}?${query}`);
}

// A word of the program beside what is seen.
function hear(word) {
  if (word.about === "not kept") {
    now.notKept.add(word.frame);
    write1(`The picture was not kept. ${word.words}`, true);
  } else write1(word.words, true);
  sound.play("trouble");
}

// Written anew for every picture, so that a script that watches can count them.
const drawn = (captured) => { stage.dataset.latencyMs = Math.round(performance.now() - captured); };

const set = (name, value) => {
  const text = value === null || value === undefined ? "" : String(value);
  if (stage.dataset[name] !== text) stage.dataset[name] = text;
};

function afterPaint(then) {
  requestAnimationFrame(() => { const channel = new MessageChannel(); channel.port1.onmessage = then; channel.port2.postMessage(0); });
}

function drawShape(seen) {
  const [width, height] = seen.size;
  if (width) write(el.shape, "viewBox", `0 0 ${width} ${height}`);
  write(el.figure, "d", seen.path || "");
  write(el.earlier, "d", seen.ghost ? seen.ghost.path : "");
  write(el["earlier-rim"], "d", seen.ghost ? seen.ghost.path : "");
  set("ghost", seen.ghost ? seen.ghost.fit : "");
  el.apart.hidden = !seen.ghost;
  el.angle.hidden = !!seen.ghost;
  if (!seen.ghost) return;
  text(el.fit, seen.ghost.sits ? "It sits" : `Fits ${seen.ghost.fit} of 100`);
  const parts = seen.ghost.sits ? [] : seen.ghost.words.slice(0, 2);
  if (el.parts.dataset.words !== parts.join("|")) {
    el.parts.dataset.words = parts.join("|");
    el.parts.replaceChildren(...parts.map((one) => item(one)));
  }
}

let shown = { words: "", since: -Infinity }, spoken = { words: "", at: -Infinity };
let lastTrouble = { kind: "", gone: -Infinity };

function drawWords(seen) {
  if (!now.linked) return;
  const trouble = seen.trouble;
  set("trouble", trouble ? trouble.kind : "");
  if (!seen.skipped || trouble) {
    set("band", seen.band);
    set("readability", seen.readability);
    set("reason", trouble ? trouble.words : seen.reason);
  }
  if (now.phase === "empty" || seen.state === "closed") line("", (!seen.band && seen.reason) || " ", false);
  else if (trouble) {
    line("", trouble.words, true);
    if (lastTrouble.kind !== trouble.kind && performance.now() - lastTrouble.gone > HELD_BACK_MS) aloud(trouble.words);
    lastTrouble = { kind: trouble.kind, gone: performance.now() };
  } else if (!seen.skipped) {
    if (performance.now() - lastTrouble.gone > HELD_BACK_MS) lastTrouble.kind = "";
    const words = `${seen.band || ""}|${seen.reason}`;
    const isTrouble = el.words.classList.contains("trouble");
    if (words !== shown.words && (isTrouble || performance.now() - shown.since > STEADY_MS)) {
      shown = { words, since: performance.now() };
      line(seen.band, seen.reason, false);
    } else if (isTrouble) line(seen.band, seen.reason, false);
    announceBand(words, seen);
  }
}

function line(band, reason, trouble) {
  el.words.classList.toggle("trouble", trouble);
  write(el.swatch, "data-band", band || "");
  text(el.band, band ? band[0].toUpperCase() + band.slice(1) + "." : "");
  text(el.reason, reason || (band ? "" : "Nothing to read yet."));
}

// To a screen reader: only what has stayed for a while, and not too often.
let heldWords = { words: "", since: 0 };
function announceBand(words, seen) {
  const at = performance.now();
  if (heldWords.words !== words) heldWords = { words, since: at };
  if (!seen.band || spoken.words === words || at - heldWords.since < 1500 || at - spoken.at < CALM_MS) return;
  spoken = { words, at };
  el.polite.textContent = `${seen.band}. ${seen.reason}`;
}

function aloud(words) { el.alert.textContent = ""; el.alert.textContent = words; }

function drawSide(seen) {
  set("stops", seen.stops);
  set("angle", seen.angle === null ? "" : Math.round(seen.angle));
  text(el.angle, seen.angle === null ? "" : `Angle ${Math.round(seen.angle)}°`);
  text(el.rest, restWords(seen.rest_in));
  el.rest.toggleAttribute("data-due", seen.rest_in !== null && seen.rest_in <= 0);
  if (seen.wheel !== null || seen.of !== now.stops) {
    now.stops = seen.of;
    now.wheel = seen.wheel || now.wheel;
    wheel.draw(now.wheel, seen.of, now.turn);
    el.wheel.setAttribute("aria-label", `${seen.stops} of ${seen.of} stops, seen from above, the front at the foot`);
    el["wheel-list"].replaceChildren(...now.wheel.map((stop) => item(describe(stop))));
    listGhosts();
  }
  if (seen.angle !== wheel.angle) wheel.camera(seen.angle);
  if (seen.wanted !== null) {
    now.wanted = seen.wanted;
    if (now.wanted.length) el.polite.textContent = now.wanted[0];
    showDo();
  }
}

function restWords(seconds) {
  if (seconds === null || seconds === undefined) return "";
  if (seconds <= 0) return "Rest now";
  return seconds > 90 ? `Rest in ${Math.round(seconds / 60)} min` : `Rest in ${Math.ceil(seconds / 5) * 5} s`;
}

async function post(number) {
  const words = await camera.post(number);
  if (!words) return;
  await new Promise((resolve) => setTimeout(resolve, 500));
  if (!now.notKept.has(number)) hear({ about: "not kept", words, frame: number });  // else the program has said so
}

// ------------------------------------------------------------------------------------------ signals

function say(signal) {
  if (signal.kind === "empty taken") { now.emptyDone = true; enter("live"); }
  if (signal.loud) { sound.play(signal.kind); sound.speak(signal.words); }
  write1(signal.words, signal.kind === "out of frame", signal.kind);
}

// Writes a sentence where it can be read from afar, for a screen reader, and into the list of what was said.
function write1(words, urgent = false, kind = words) {
  if (!words) return;
  const at = performance.now();
  now.said = [...now.said.filter((one) => at - one.at < SAID_MS && one.kind !== kind), { words, at, kind }].slice(-2);
  showDo();
  clearTimeout(now.sayTimer);
  now.sayTimer = setTimeout(() => { now.said = []; showDo(); }, SAID_MS);
  if (urgent) aloud(words);
  else el.polite.textContent = now.said.map((one) => one.words).join(" ");
  el.log.prepend(item(`${new Date().toLocaleTimeString()} ${words}`));
  while (el.log.children.length > 60) el.log.lastChild.remove();
}

// The line above the silhouette: what was just said, else what is asked for, else what to do.
function showDo() {
  el.do.toggleAttribute("data-new", now.said.length > 0);
  text(el.do, now.said.map((one) => one.words).join(" ") || now.wanted[0] || whatToDo());
}

function whatToDo() {
  if (now.phase === "empty") return "First the room without you";
  if (now.paused) return "Paused";
  return { "no-camera": "No camera yet", "empty-room": "First the room without you", closed: "Check it before you move away", hold: "Hold" }[stage.dataset.state]
    || "Hold each stop for a second";
}

const item = (words) => Object.assign(document.createElement("li"), { textContent: words });
const text = (where, words) => { const as = String(words); if (where.textContent !== as) where.textContent = as; };
const write = (where, name, value) => { if (where.getAttribute(name) !== value) where.setAttribute(name, value); };

// ------------------------------------------------------------------------------------------ the connection

function linkChanged(state) {
  const was = now.linked;
  now.linked = state === "open";
  stage.dataset.link = now.linked ? "open" : "lost";
  if (now.linked) {
    if (!was) {
      if (now.phase !== "setup") { line("", "Connected again.", false); shown.words = ""; }
      write1("Connected again. It goes on.");
    }
    return;
  }
  camera.forget();
  const words = state === "shut out" ? "The program was started anew. Open the address that it printed."
    : "No connection to the program. Trying again.";
  line("", words, true);
  text(el.problem, now.phase === "setup" ? words : "");
  if (was) { aloud(words); sound.play("trouble"); sound.speak(words); }
}

const order = (what, more = {}) => {
  const sent = link.order({ do: what, pose: now.pose, ...more });
  if (!sent) write1("This did not reach the program. Do it again when the connection is back.", true);
  return sent;
};

// ------------------------------------------------------------------------------------------ the camera

function noCamera(words) {
  set("state", "no-camera");
  write(el.figure, "d", "");
  showDo();
  for (const name of ["band", "readability", "angle", "ghost", "latencyMs", "trouble"]) set(name, "");
  set("reason", words);
  line("", words, true);
  aloud(words);
  text(el["camera-said"], words);
  el.settings.open = true;
}

const WAITING = "Waiting for the picture of the phone.";
const WHY = {
  NotAllowedError: "The camera is not allowed. Allow it at the address bar, then choose the camera again.",
  NotFoundError: "There is no camera here. Plug one in, or use the phone as camera.",
  NotReadableError: "The camera is in use by another program. Close that one, then choose the camera again.",
  OverconstrainedError: "This camera is not there any more. Choose another one.",
};

async function startCamera(which) {
  if (which === "elsewhere") {
    camera.stop();
    noCamera(WAITING);
    return;
  }
  try {
    const got = await camera.start(which);
    text(el["camera-said"], `${got.name || "The camera"}: ${el.picture.videoWidth} x ${el.picture.videoHeight}`);
    await listCameras(got.id);
    if (!now.seen) line("", "Waiting for the first picture.", false);
  } catch (error) {
    noCamera(WHY[error.name] || "The camera does not start. Choose another one.");
  }
}

async function listCameras(chosen) {
  const found = await Camera.list();
  const named = found.filter((one) => one.id);
  const options = named.length ? named.map((one) => option(one.id, one.name)) : [option("first", "The first camera")];
  options.push(option("elsewhere", "The phone, paired with this program"));
  el.camera.replaceChildren(...options);
  if (chosen) el.camera.value = chosen;
}

const option = (value, words) => Object.assign(document.createElement("option"), { value, textContent: words });

// ------------------------------------------------------------------------------------------ beginning

async function listPoses() {
  const answer = await ask("GET", "/api/poses");
  now.poses = Array.isArray(answer.data) ? answer.data : [];
  el.pose.replaceChildren(option("", "A new pose"), ...now.poses.filter((one) => one.kind !== "clip").map((one) => option(one.id, one.name)));
  if (now.poses.some((one) => one.id === now.pose)) el.pose.value = now.pose;
  showRing();
  listGhosts();
}

// A ring is chosen only where the pose has some already, or where the page of the pose asked for one.
function showRing() {
  el["name-line"].hidden = el.pose.value !== "";
  const pose = (now.poses || []).find((one) => one.id === el.pose.value);
  el["ring-line"].hidden = !pose || !(pose.rings?.length || query.has("ring"));
  if (el["ring-line"].hidden) el.ring.value = "level";
  text(el["lens-at"], el.ring.value === "level" ? "the height of the waist" : `the height of the ${el.ring.value} ring`);
}

async function poseId() {
  if (el.pose.value) return el.pose.value;
  const names = new Set((now.poses || []).map((one) => one.name));
  let name = el.name.value.trim(), i = 1;
  if (!name) { while (names.has(`pose ${i}`)) i++; name = `pose ${i}`; }
  const answer = await ask("POST", "/api/poses", { name });
  if (!answer.ok || !answer.data || !answer.data.id) throw new Error(answer.words || "The pose could not be made.");
  return answer.data.id;
}

async function begin(which) {
  text(el.problem, "");
  el.start.disabled = true;
  try {
    shoots(await poseId());
  } catch (error) {
    text(el.problem, error.message);
    return;
  } finally {
    el.start.disabled = false;
  }
  now.turn = new FormData(el.setup).get("turn");
  now.stops = Number(el.stops.value);
  await linkOpen();
  order("begin", { stops: now.stops, turn: now.turn, raised: el.raised.checked, ring: el.ring.value });
  const wanted = wantedOf(query.get("want"));
  if (wanted.length) order("want", { stops_wanted: wanted });
  const skip = query.get("empty") === "skip" || wanted.length > 0;  // a turn that is mended has its empty picture
  if (skip) order("skip empty");
  await onStage(skip ? "live" : "empty", which);
}

const linkOpen = async () => { while (!link.ready) await new Promise((resolve) => setTimeout(resolve, 50)); };

// A page that comes with a second camera, the phone's, gives its picture to the turn that is being shot.
async function join(which) {
  shoots(now.running);
  await onStage("live", which);
}

async function onStage(phase, which) {
  wheel.draw(now.wheel, now.stops, now.turn);
  el.settings.open = false;
  enter(phase);
  showDo();
  stage.focus({ preventScroll: true });
  keepAwake();
  await startCamera(which);
}

// What a check asks for: ?want=stop_05,after:stop_09 or the same as JSON. A list that is spoilt asks for nothing.
function wantedOf(given) {
  if (!given) return [];
  try {
    if (given.startsWith("[")) return JSON.parse(given);
    return given.split(",").map((one) => {
      const [how, ...name] = one.split(":");
      const called = decodeURIComponent(name.length ? name.join(":") : how);
      return how === "after" ? { after: called } : { instead: called };
    });
  } catch {
    return [];
  }
}

function enter(phase) {
  if (now.phase === phase && phase !== "empty") return;
  clearInterval(now.timer);
  now.phase = phase;
  document.body.dataset.phase = phase;
  el.countdown.hidden = phase !== "empty";
  el.more.append(document.querySelector("nav"));  // the ways out, and whether the phone's door is open
  if (phase === "empty") { now.emptyDone = false; countDown(); }
}

// ------------------------------------------------------------------------------------------ the empty picture

function countDown() {
  clearInterval(now.timer);
  let left = COUNTDOWN_S;
  const show = (words, number) => { text(el["countdown-words"], words); text(el["countdown-number"], number); };
  show("Step out of the frame", left);
  aloud(`Step out of the frame. The empty picture is taken in ${left} seconds.`);
  sound.speak("Step out of the frame");
  now.timer = setInterval(() => {
    const elsewhere = now.seen && now.seen.frame >= 0 && now.seen.state !== "no-camera";
    if (!camera.running && !elsewhere) return show("Waiting for the camera", "");
    left -= 1;
    if (left > 0) {
      sound.play(left <= 3 ? "last seconds" : "count");
      return show("Step out of the frame", left);
    }
    if (left === 0) {
      order("empty");
      show("Stay out. The empty picture is being taken", "");
    }
    if (left === -EMPTY_WAIT_S) {
      clearInterval(now.timer);
      show("The empty picture could not be taken. Is anything moving in the room?", "");
      aloud("The empty picture could not be taken. Is anything moving in the room?");
      sound.play("trouble");
    }
  }, 1000);
}

el["empty-again"].addEventListener("click", () => countDown());
el["empty-new"].addEventListener("click", () => enter("empty"));
el["empty-skip"].addEventListener("click", () => { order("skip empty"); enter("live"); });

// ------------------------------------------------------------------------------------------ taking, undoing, pausing

function take() {
  const at = performance.now();
  if (now.phase !== "live" || at - now.lastTaken < AGAIN_MS) return;
  now.lastTaken = at;
  if (now.paused) return write1("Paused. Go on first.", true);
  order("take");
}

function undo() {
  if (now.phase === "live") order("undo");
}

function pause() {
  if (now.phase !== "live") return;
  if (!order(now.paused ? "go on" : "pause")) return;
  now.paused = !now.paused;
  el.pause.setAttribute("aria-pressed", now.paused);
  text(el.pause, now.paused ? "Go on" : "Pause");
  document.body.toggleAttribute("data-paused", now.paused);
  showDo();
}

function fullScreen() {
  if (document.fullscreenElement) document.exitFullscreen();
  else if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
}

function mute() {
  sound.on = !sound.on;
  sound.save();
  showSound();
  write1(sound.on ? "Sounds are on." : "Sounds are off.");
}

function showPicture() {
  const on = document.body.toggleAttribute("data-picture");
  el.show.setAttribute("aria-pressed", on);
}

const press = (button, what) => button.addEventListener("click", (event) => {
  what();
  if (event.detail) stage.focus({ preventScroll: true });  // after a tap the keys are the stage's again
});
press(el.take, take);
press(el.undo, undo);
press(el.pause, pause);
press(el.full, fullScreen);
press(el.mute, mute);
press(el.show, showPicture);
press(el.close, () => order("close"));
stage.addEventListener("click", (event) => { if (!event.target.closest("button, a")) take(); });

const KEYS = {
  " ": take, Enter: take, PageDown: take, ArrowRight: take, ArrowDown: take,
  Backspace: undo, PageUp: undo, ArrowLeft: undo, ArrowUp: undo, p: pause, P: pause, f: fullScreen, F: fullScreen,
};
const IGNORED = new Set(["F5", "."]);  // what else a presenter's clicker sends

document.addEventListener("keydown", (event) => {
  sound.unlock().then(showSound);
  if (now.phase === "setup" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (IGNORED.has(event.key)) return event.preventDefault();
  const what = KEYS[event.key], on = event.target;
  const clicker = event.key === "PageDown" || event.key === "PageUp";
  if (!what || on.closest("select, input, textarea")) return;
  if (!clicker && on.closest("button, a, summary") && (event.key === " " || event.key === "Enter")) return;
  event.preventDefault();
  if (!event.repeat) what();
});
document.addEventListener("pointerdown", () => sound.unlock().then(showSound));

// ------------------------------------------------------------------------------------------ earlier outline

function listGhosts() {
  const own = now.wheel.map((stop) => [{ pose: now.pose, stop: stop.name }, called(stop.name)]);
  const others = (now.poses || []).filter((one) => one.id !== now.pose)
    .flatMap((one) => (one.names || []).map((stop) => [{ pose: one.id, stop }, `${one.name}, ${called(stop)}`]));
  const all = [["", "nothing"], ...[...own, ...others].map(([what, words]) => [JSON.stringify(what), words])];
  const key = JSON.stringify(all);
  if (el.ghost.dataset.key === key) return;
  const chosen = el.ghost.value;
  el.ghost.dataset.key = key;
  el.ghost.replaceChildren(...all.map(([value, words]) => option(value, words)));
  if (all.some(([value]) => value === chosen)) el.ghost.value = chosen;
}

el.ghost.addEventListener("change", () => {
  const what = el.ghost.value ? JSON.parse(el.ghost.value) : { pose: "", stop: "" };
  order("ghost", what);
});

// ------------------------------------------------------------------------------------------ settings

function showSound() {
  el.mute.setAttribute("aria-pressed", sound.on);
  text(el.mute, sound.on ? "Sounds on" : "Sounds off");
  el["sound-on"].checked = sound.on;
  el.volume.value = sound.volume;
  text(el["sound-note"], !sound.on ? "Sounds are off. Everything is written on the page."
    : sound.locked ? "Sounds start with the first tap or key." : "");
}

function listVoices() {
  el.voice.replaceChildren(option("", "none, tones only"), ...Sound.voices().map((one) => option(one.name, one.name)));
  el.voice.value = sound.voice;
  if (el.voice.selectedIndex < 0) el.voice.value = "";
}

el["sound-on"].addEventListener("change", mute);
el.volume.addEventListener("input", () => { sound.volume = Number(el.volume.value); sound.save(); });
el.volume.addEventListener("change", () => sound.play("taken"));
el.voice.addEventListener("change", () => { sound.voice = el.voice.value; sound.save(); sound.speak("This voice says what to do."); });
for (const [kind, { says }] of Object.entries(KINDS)) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: `Hear: ${kind}` });
  button.dataset.kind = kind;
  button.addEventListener("click", async () => {
    await sound.unlock();
    sound.until = 0;
    const played = sound.play(kind);
    text(el["sound-said"], played ? `${kind}: ${says}` : "Sounds are off.");
    button.dataset.playing = played;
    if (played) setTimeout(() => { delete button.dataset.playing; }, 1000 * lengthOf(kind));
  });
  const row = item("");
  row.append(button, says);
  el.sounds.append(row);
}
if (window.speechSynthesis) speechSynthesis.addEventListener("voiceschanged", listVoices);

el.camera.addEventListener("change", () => { if (now.phase !== "setup") startCamera(el.camera.value); });
el.find.addEventListener("click", async () => {
  const chosen = el.camera.value;
  if (camera.running) return listCameras(chosen);
  await startCamera(chosen === "elsewhere" ? "first" : chosen);
  if (now.phase === "setup") camera.stop();  // only to learn the names
});
el.pose.addEventListener("change", showRing);
el.ring.addEventListener("change", showRing);
el.setup.addEventListener("submit", (event) => {
  event.preventDefault();
  sound.unlock().then(showSound);
  begin(el.camera.value);
});

// ------------------------------------------------------------------------------------------ awake

async function keepAwake() {
  if (!navigator.wakeLock || document.visibilityState !== "visible") return;
  try { await navigator.wakeLock.request("screen"); } catch { /* the system says no: the screen may go dark */ }
}
document.addEventListener("visibilitychange", () => { if (now.phase !== "setup") keepAwake(); });

// ------------------------------------------------------------------------------------------ start

if (location.hash) history.replaceState(null, "", location.pathname + location.search);  // the key stays in no list
showSound();
listVoices();
wheel.draw([], now.stops, now.turn);
for (const [name, field] of [["stops", el.stops], ["name", el.name], ["ring", el.ring]]) if (query.has(name)) field.value = query.get(name);
if (query.get("turn") === "right") el.setup.elements.turn.value = "right";
el.raised.checked = query.get("raised") === "1";
if (!el.stops.value) el.stops.value = "24";
if (!el.ring.value) el.ring.value = "level";
await listPoses();
await listCameras();
const which = query.get("camera");
if (which === "first" || which === "rear") {
  await greeting;
  const going = now.running && now.seen.state !== "closed" && !query.has("pose");
  await (which === "rear" && going ? join(which) : begin(which));
}
