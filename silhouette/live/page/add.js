// Pictures and clips are added: dropped or picked, sorted into poses, and copied into the folder in pieces.

import { ask } from "./link.js";
import { counted, find, make } from "./work.js";

const MARK = ".silhouette.json";
const PIECE = 4 * 1024 * 1024, TRIES = 6;
const CLIPS = /\.(mp4|mov|m4v|avi|mkv|webm|mts|m2ts|3gp|mpg|mpeg)$/i;
const STILLS = /\.(jpe?g|png|webp|tiff?|heic|heif)$/i;
const MASK = /\.mask\.png$/i, EMPTY = /^empty(room)?(?![a-z])|\.empty\.[a-z]+$/i;
const RINGS = ["low", "level", "high"], CLOSE_UPS = /^close[-_ ]?ups?$/i;
const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

const kindOf = (name) => {
  if (name.startsWith(".")) return "none";
  if (name === "angles.csv" || name === "turn.csv") return "beside";
  if (MASK.test(name)) return "beside";
  if (STILLS.test(name)) return EMPTY.test(name) ? "empty" : "still";
  return CLIPS.test(name) ? "clip" : "none";
};

// The folder of the pose that a file belongs to, and where in it: in a ring of it, or among its close-ups.
function placed(folder, name, kind, loose) {
  const parts = folder.split("/"), last = parts.at(-1).toLowerCase(), up = (n) => parts.slice(0, -n).join("/");
  const called = name.replace(/\.[^.]+$/, "").toLowerCase();
  if (RINGS.includes(last) && (parts.length > 1 || loose)) return [up(1), last];
  if (kind === "clip" && RINGS.includes(called) && folder) return [folder, called];
  if (parts.length > 2 && CLOSE_UPS.test(parts.at(-2))) return [up(2), `close-ups/${parts.at(-1)}`];
  return parts.length > 1 && CLOSE_UPS.test(last) ? [up(1), "close-ups"] : [folder, ""];
}

// What was given, as poses: each folder that holds stills is one, each clip is one; loose stills have no name yet.
// Folders called after rings, and close-ups, belong to the pose in whose folder they lie.
// given: [[path of its folder, File], ...]
export function sorted(given) {
  const folders = new Map(), clips = [], strange = [];
  // Folders that this program made hold its mark: they are results, and no poses.
  const ours = given.filter(([, file]) => file.name === MARK).map(([folder]) => folder);
  const within = (folder) => ours.find((mark) => folder === mark || folder.startsWith(`${mark}/`));
  const loose = new Set(given.map(([folder]) => folder.toLowerCase()).filter((folder) => RINGS.includes(folder))).size > 1;
  for (const [folder, file] of given) {
    if (within(folder) !== undefined) continue;
    const kind = kindOf(file.name), [home, inside] = placed(folder, file.name, kind, loose);
    if (kind === "clip" && !inside) clips.push(file);
    else if (kind !== "none" && (kind !== "clip" || RINGS.includes(inside))) {
      folders.set(home, [...(folders.get(home) || []), { file, kind, inside }]);
    } else if (!file.name.startsWith(".")) strange.push(file.name);
  }
  const order = { still: 0, clip: 0, empty: 1, beside: 2 };
  const rank = ({ kind, inside }) => 5 * order[kind] + (inside ? RINGS.indexOf(inside) + 1 || 4 : 0);
  const poses = [...folders].map(([folder, all]) => {
    all.sort((a, b) => rank(a) - rank(b) || a.inside.localeCompare(b.inside) || a.file.name.localeCompare(b.file.name, "en", { numeric: true }));
    return {
      name: folder.split("/").pop(),
      files: all.map((one) => one.file),
      inside: all.map((one) => one.inside),
      stills: all.filter((one) => one.kind === "still" || one.kind === "clip").length,
    };
  });
  return { poses, clips, strange, ours: ours.map((folder) => folder.split("/").pop()) };
}

export class Adding {
  // added() is called when something has come into the folder.
  constructor(added) {
    this.added = added;
    this.stopped = false;
    for (const id of ["#pick-folder", "#pick-files"]) {
      find(id).addEventListener("change", (event) => {
        const picked = [...event.target.files].map((file) => [file.webkitRelativePath.split("/").slice(0, -1).join("/"), file]);
        event.target.value = "";
        this.take(picked);
      });
    }
    find("#copying-stop").addEventListener("click", () => { this.stopped = true; });
    let over = 0;
    const light = (by) => { over = Math.max(0, over + by); document.body.classList.toggle("over", over > 0); };
    document.addEventListener("dragenter", (event) => { event.preventDefault(); light(1); });
    document.addEventListener("dragleave", () => light(-1));
    document.addEventListener("dragover", (event) => event.preventDefault());
    document.addEventListener("drop", async (event) => {
      event.preventDefault();
      light(-over);
      this.take(await dropped(event.dataTransfer));
    });
  }

  async take(given) {
    if (!find("#copying").hidden) return this.left("Wait until the others are copied, or stop that first.");
    find("#left").replaceChildren();
    const { poses, clips, strange, ours } = sorted(given);
    for (const name of ours) this.left(`${name || "These files"}: left out. This program made it; give the pictures themselves.`);
    for (const name of strange.slice(0, 5)) this.left(`${name}: left out. It is neither a picture nor a clip that is known here.`);
    if (strange.length > 5) this.left(`${counted(strange.length - 5, "other file")} left out.`);
    if (!given.length) this.left("Nothing was found there.");
    const plan = clips.map((file) => ({ name: "", files: [file], inside: [""] }));
    for (const pose of poses) {
      // An empty picture alone holds for all poses of the folder.
      if (pose.name || !pose.stills) plan.push(pose);
      else {
        const name = await this.named(pose);
        if (name) plan.push({ ...pose, name });
      }
    }
    if (plan.length) await this.copy(plan);
    return null;
  }

  // Asks what loose stills are called; null where they are left out.
  named(pose) {
    const form = find("#naming"), field = find("#new-name");
    find("#name-it").textContent = `Copy ${counted(pose.files.length, "picture")}`;
    field.value = "";
    form.hidden = false;
    field.focus();
    return new Promise((done) => {
      const end = (name) => { form.hidden = true; form.onsubmit = find("#name-not").onclick = null; done(name); };
      form.onsubmit = (event) => { event.preventDefault(); if (field.value.trim()) end(field.value.trim()); };
      find("#name-not").onclick = () => end(null);
    });
  }

  async copy(plan) {
    this.stopped = false;
    const all = plan.flatMap((pose) => pose.files), total = all.reduce((sum, file) => sum + file.size, 0);
    let before = 0, number = 0, came = 0;
    find("#copying").hidden = false;
    for (const pose of plan) {
      let id = "";
      for (const [k, file] of pose.files.entries()) {
        number += 1;
        if (this.stopped) break;
        this.say(`Copying ${number} of ${all.length}: ${file.name}`, before, total);
        const put = await this.send(file, id, pose.name && !id && pose.stills ? pose.name : "", pose.inside[k], (have) => this.say("", before + have, total));
        if (put) came += 1;
        id ||= put?.pose || "";
        before += file.size;
      }
    }
    find("#copying").hidden = true;
    const said = `${counted(came, "file")} copied.`;
    this.left(this.stopped ? `Stopped. ${said}` : said, true);
    await this.added();
    find("#poses-title").focus({ preventScroll: true });
  }

  say(words, have, total) {
    if (words) find("#copying-words").textContent = words;
    find("#copying-bar").value = total ? have / total : 0;
  }

  left(words, good = false) {
    find("#left").append(make("li", good ? {} : { class: "problem" }, words));
  }

  // One file, piece by piece; after a break it goes on from what the program has. Null where it was not taken.
  async send(file, pose, name, inside, told) {
    const begun = await ask("POST", "/api/uploads", { name: file.name, size: file.size, pose, new: name, inside });
    if (!begun.ok) return this.refused(begun.words);
    const address = `/api/uploads/${begun.data.upload}`;
    let { have } = begun.data, now = begun.data, tries = 0;
    while (!now.done) {
      if (this.stopped) {
        await ask("DELETE", address);
        return null;
      }
      const answer = await ask("PATCH", `${address}?from=${have}`, new Blob([file.slice(have, have + PIECE)], { type: "application/octet-stream" }));
      if (answer.ok) [now, tries] = [answer.data, 0];
      else {
        tries += 1;
        if (answer.status && answer.status !== 409 && answer.status !== 408 || tries > TRIES) return this.refused(answer.words);
        await pause(500 * tries);
        const there = await ask("GET", address);
        if (there.ok) now = there.data;
        else if (there.status) return this.refused(there.words);
      }
      have = now.have ?? have;
      told(have);
    }
    return now;
  }

  refused(words) {
    this.left(words);
    return null;
  }
}

// What was dropped, folders looked into.
async function dropped(data) {
  const entries = [...data.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return [...data.files].map((file) => ["", file]);
  const found = [];
  await Promise.all(entries.map((entry) => walk(entry, "", found)));
  return found;
}

async function walk(entry, folder, found) {
  if (entry.isFile) {
    const file = await new Promise((done) => { entry.file(done, () => done(null)); });
    if (file) found.push([folder, file]);
    return;
  }
  const reader = entry.createReader(), path = folder ? `${folder}/${entry.name}` : entry.name;
  for (;;) {
    const some = await new Promise((done) => { reader.readEntries(done, () => done([])); });
    if (!some.length) return;
    for (const one of some) await walk(one, path, found);
  }
}
