// Flips pieces of a picture between figure and backdrop, and saves the mask. No framework, nothing fetched.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("data").textContent), stills = data.stills;
  const at = (id) => document.getElementById(id);
  const all = (selector) => [...document.querySelectorAll(selector)];
  const BRUSH = { brush: 1 / 80, fine: 1 / 280 }; // radius, in the longer side of the picture
  const MOST_UNDO = 60, MOST_ZOOM = 12;
  const VEIL = [253, 251, 247, 178], RIM = [176, 100, 15, 255], BESIDE = [255, 255, 255, 255], DOUBT = [176, 100, 15, 235];
  let i = 0, now = null, tool = "large", hover = null, folder = null;
  const view = { zoom: 1, x: 0, y: 0 };

  // ------------------------------------------------------------------------------------------ stills, masks and pieces
  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));

  function labelsOf(still) {
    const packed = bytes(still.runs), words = new DataView(packed.buffer);
    const labels = new Uint32Array(still.w * still.h);
    for (let k = 0, to = 0; k < packed.length; k += 4) {
      const word = words.getUint32(k, true), from = to;
      to += word & 4095;
      labels.fill(word >>> 12, from, to);
    }
    return labels;
  }

  function maskOf(still, labels) {
    const inside = Uint8Array.from(still.inside, Number), mask = new Uint8Array(labels.length);
    for (let p = 0; p < labels.length; p++) mask[p] = inside[labels[p]];
    return mask;
  }

  function begin(still, labels) {
    if (still.mask) return;
    still.mask = maskOf(still, labels);
    still.first = still.mask.slice();
    still.undo = [];
    still.saved = false;
  }

  // The pixels of each piece, sorted by piece: small piece k has order[start[k] ... start[k + 1] - 1].
  function index(still, labels) {
    const n = still.large.length, start = new Uint32Array(n + 1);
    for (let p = 0; p < labels.length; p++) start[labels[p] + 1]++;
    for (let k = 0; k < n; k++) start[k + 1] += start[k];
    const next = start.slice(), order = new Uint32Array(labels.length);
    for (let p = 0; p < labels.length; p++) order[next[labels[p]]++] = p;
    const parts = [];
    still.large.forEach((large, k) => (parts[large] = parts[large] || []).push(k));
    const doubtful = new Set(still.doubtful);
    const walk = [...still.doubtful, ...parts.keys()].filter((large, k) => k < still.doubtful.length || !doubtful.has(large));
    return { still, labels, start, order, parts, walk, doubtful, step: -1 };
  }

  const piecesAt = (p) => (tool === "small" ? [now.labels[p]] : now.parts[now.still.large[now.labels[p]]]);

  function each(pieces, act) {
    for (const k of pieces) for (let q = now.start[k]; q < now.start[k + 1]; q++) act(now.order[q]);
  }

  function isFigure(pieces) {
    let on = 0, size = 0;
    each(pieces, (p) => { on += now.still.mask[p]; size++; });
    return on * 2 > size;
  }

  // ------------------------------------------------------------------------------------------------------- what is seen
  const photo = new Image(), over = document.createElement("canvas"), black = document.createElement("canvas");
  let overPixels = null, blackPixels = null;

  // Veil, rim and hatching of the pixels from (x0, y0) up to (x1, y1), and their silhouette.
  function paint(x0 = 0, y0 = 0, x1 = now.still.w, y1 = now.still.h) {
    const { w, h, mask, first, large } = now.still, shown = overPixels.data, plain = blackPixels.data;
    const hatched = now.doubtful;
    x0 = Math.max(0, x0 - 1); y0 = Math.max(0, y0 - 1); x1 = Math.min(w, x1 + 1); y1 = Math.min(h, y1 + 1);
    for (let y = y0; y < y1; y++) {
      for (let x = x0; x < x1; x++) {
        const p = y * w + x, on = mask[p];
        const edge = (x > 0 && mask[p - 1] !== on) || (x + 1 < w && mask[p + 1] !== on)
          || (y > 0 && mask[p - w] !== on) || (y + 1 < h && mask[p + w] !== on);
        let tone = null;
        if (edge) tone = on ? RIM : BESIDE;
        else if (hatched.size && on === first[p] && (x + y) % 9 < 2 && hatched.has(large[now.labels[p]])) tone = DOUBT;
        else if (!on) tone = VEIL;
        for (let c = 0; c < 4; c++) shown[4 * p + c] = tone === null ? 0 : tone[c];
        plain[4 * p] = plain[4 * p + 1] = plain[4 * p + 2] = on ? 0 : 255;
        plain[4 * p + 3] = 255;
      }
    }
    over.getContext("2d").putImageData(overPixels, 0, 0, x0, y0, x1 - x0, y1 - y0);
    black.getContext("2d").putImageData(blackPixels, 0, 0, x0, y0, x1 - x0, y1 - y0);
    draw();
  }

  function sized(canvas) {
    const dense = window.devicePixelRatio || 1;
    const w = Math.round(canvas.clientWidth * dense), h = Math.round(canvas.clientHeight * dense);
    if (canvas.width !== w) canvas.width = w;
    if (canvas.height !== h) canvas.height = h;
    const pen = canvas.getContext("2d");
    pen.setTransform(dense, 0, 0, dense, 0, 0);
    pen.clearRect(0, 0, w, h);
    return pen;
  }

  let waits = false;
  function draw() {
    if (waits) return;
    waits = true;
    requestAnimationFrame(() => { waits = false; drawNow(); });
  }

  function drawNow() {
    const { w, h } = now.still, pen = sized(at("stage"));
    pen.translate(view.x, view.y);
    pen.scale(view.zoom, view.zoom);
    pen.imageSmoothingEnabled = view.zoom < 3;
    if (photo.complete && photo.naturalWidth) pen.drawImage(photo, 0, 0, w, h);
    pen.drawImage(over, 0, 0);
    if (hover !== null) drawHover(pen);
    const beside = at("silhouette"), ink = sized(beside), level = beside.clientHeight === at("stage").clientHeight;
    const { zoom, x, y } = level ? view : fitted(beside, ...now.frame); // side by side both are one scale, on one ground
    ink.translate(x, y);
    ink.scale(zoom, zoom);
    ink.imageSmoothingEnabled = zoom < 3;
    ink.drawImage(black, 0, 0);
  }

  // The piece under the pointer, or that the keys have come to: its border, dashed.
  function drawHover(pen) {
    const { w } = now.still, wanted = new Set(hover), path = new Path2D();
    each(hover, (p) => {
      const x = p % w, y = (p - x) / w;
      const other = (q, inPicture) => !inPicture || !wanted.has(now.labels[q]);
      if (other(p - 1, x > 0)) { path.moveTo(x, y); path.lineTo(x, y + 1); }
      if (other(p + 1, x + 1 < w)) { path.moveTo(x + 1, y); path.lineTo(x + 1, y + 1); }
      if (other(p - w, y > 0)) { path.moveTo(x, y); path.lineTo(x + 1, y); }
      if (other(p + w, y + 1 < now.still.h)) { path.moveTo(x, y + 1); path.lineTo(x + 1, y + 1); }
    });
    for (const [tone, width] of [["#fff", 4], ["#1f1a17", 2]]) {
      pen.strokeStyle = tone;
      pen.lineWidth = width / view.zoom;
      pen.stroke(path);
    }
  }

  // What is worth seeing: the figure with some air, or all of the picture where there is none.
  function frameOf(still) {
    let x0 = still.w, y0 = still.h, x1 = 0, y1 = 0;
    for (let p = 0; p < still.mask.length; p++) {
      if (!still.mask[p]) continue;
      const x = p % still.w, y = (p - x) / still.w;
      if (x < x0) x0 = x;
      if (x > x1) x1 = x;
      if (y < y0) y0 = y;
      if (y > y1) y1 = y;
    }
    if (x1 <= x0 || y1 <= y0) return [0, 0, still.w, still.h];
    const air = 0.08 * (y1 - y0);
    return [Math.max(0, x0 - air), Math.max(0, y0 - air), Math.min(still.w, x1 + air), Math.min(still.h, y1 + air)];
  }

  function fitted(canvas, x0, y0, x1, y1) {
    const W = canvas.clientWidth, H = canvas.clientHeight, zoom = Math.min(W / (x1 - x0), H / (y1 - y0));
    return { zoom, x: (W - zoom * (x0 + x1)) / 2, y: (H - zoom * (y0 + y1)) / 2 };
  }

  function look(...box) {
    Object.assign(view, fitted(at("stage"), ...box));
    draw();
  }

  function zoom(by, x = at("stage").clientWidth / 2, y = at("stage").clientHeight / 2) {
    const least = 0.5 * Math.min(at("stage").clientWidth / now.still.w, at("stage").clientHeight / now.still.h);
    const to = Math.min(MOST_ZOOM, Math.max(least, view.zoom * by));
    view.x = x - (x - view.x) * to / view.zoom;
    view.y = y - (y - view.y) * to / view.zoom;
    view.zoom = to;
    draw();
  }

  // ------------------------------------------------------------------------------------------------------------ flipping
  // A stroke flips what it meets to what it made of the first: pieces, or a round brush.
  let stroke = null;

  function startStroke(x, y) {
    const { w, h, mask } = now.still, ix = Math.floor(x), iy = Math.floor(y);
    if (ix < 0 || iy < 0 || ix >= w || iy >= h) return;
    const p = iy * w + ix;
    const value = tool in BRUSH ? 1 - mask[p] : Number(!isFigure(piecesAt(p)));
    stroke = { value, before: mask.slice(), x, y, box: [w, h, 0, 0], met: new Set() };
    touch(x, y);
  }

  function moveStroke(x, y) {
    const far = Math.hypot(x - stroke.x, y - stroke.y), steps = Math.max(1, Math.ceil(far / 2));
    const { x: fromX, y: fromY } = stroke;
    for (let k = 1; k <= steps; k++) touch(fromX + (x - fromX) * k / steps, fromY + (y - fromY) * k / steps);
    stroke.x = x;
    stroke.y = y;
  }

  function touch(x, y) {
    const { w, h, mask } = now.still, dirty = [w, h, 0, 0];
    const set = (p) => {
      if (mask[p] === stroke.value) return;
      mask[p] = stroke.value;
      const px = p % w, py = (p - px) / w;
      grow(dirty, px, py);
    };
    if (tool in BRUSH) {
      const r = Math.max(1.5, BRUSH[tool] * Math.max(w, h));
      for (let py = Math.max(0, Math.ceil(y - r)); py <= Math.min(h - 1, y + r); py++) {
        for (let px = Math.max(0, Math.ceil(x - r)); px <= Math.min(w - 1, x + r); px++) {
          if ((px - x) ** 2 + (py - y) ** 2 <= r * r) set(py * w + px);
        }
      }
    } else {
      const ix = Math.floor(x), iy = Math.floor(y);
      if (ix < 0 || iy < 0 || ix >= w || iy >= h) return;
      const pieces = piecesAt(iy * w + ix);
      if (stroke.met.has(pieces[0])) return;
      stroke.met.add(pieces[0]);
      each(pieces, set);
    }
    if (dirty[2] === 0) return;
    grow(stroke.box, dirty[0], dirty[1]);
    grow(stroke.box, dirty[2] - 1, dirty[3] - 1);
    paint(...dirty);
  }

  function grow(box, x, y) {
    box[0] = Math.min(box[0], x);
    box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x + 1);
    box[3] = Math.max(box[3], y + 1);
  }

  function endStroke() {
    const done = stroke;
    stroke = null;
    if (done !== null && done.box[2] > 0) remember(done.before, done.box);
  }

  function dropStroke() {
    if (stroke === null) return;
    now.still.mask.set(stroke.before);
    stroke = null;
    paint();
  }

  // Keep what a change replaced, within its box, to be undone.
  function remember(before, [x0, y0, x1, y1]) {
    const still = now.still, kept = new Uint8Array((x1 - x0) * (y1 - y0));
    for (let y = y0; y < y1; y++) kept.set(before.subarray(y * still.w + x0, y * still.w + x1), (y - y0) * (x1 - x0));
    still.undo.push({ x0, y0, x1, y1, kept });
    if (still.undo.length > MOST_UNDO) still.undo.shift();
    still.saved = false;
    changed();
  }

  function undo() {
    const still = now.still, last = still.undo.pop();
    if (last === undefined) return;
    const { x0, y0, x1, y1, kept } = last;
    for (let y = y0; y < y1; y++) {
      still.mask.set(kept.subarray((y - y0) * (x1 - x0), (y - y0 + 1) * (x1 - x0)), y * still.w + x0);
    }
    still.saved = false;
    paint(x0, y0, x1, y1);
    changed();
  }

  // The whole mask at once: as it was, or nothing, where so little is right that tapping the figure in is quicker.
  function replaceBy(mask) {
    const still = now.still, before = still.mask.slice();
    if (same(before, mask)) return;
    still.mask.set(mask);
    remember(before, [0, 0, still.w, still.h]);
    paint();
  }
  const asItWas = () => replaceBy(now.still.first);
  const takeAllOut = () => replaceBy(new Uint8Array(now.still.mask.length));

  const same = (a, b) => a.every((v, p) => v === b[p]);
  const isChanged = (still) => still.mask !== undefined && !same(still.mask, still.first);
  const unsaved = () => stills.filter((still) => still.changed && !still.saved);

  function changed() {
    const still = now.still;
    still.changed = isChanged(still);
    at("undo").disabled = still.undo.length === 0;
    at("as-it-was").disabled = !still.changed;
    at("save-all").disabled = unsaved().length === 0;
    thumb(i, still.mask);
    mark(i);
  }

  // --------------------------------------------------------------------------------------------------------- the stills
  function thumb(k, mask) {
    const still = stills[k], canvas = all("#strip canvas")[k], pen = canvas.getContext("2d");
    const scale = Math.min(48 / still.w, 64 / still.h);
    const left = (48 - still.w * scale) / 2, top = (64 - still.h * scale) / 2;
    pen.clearRect(0, 0, 48, 64);
    pen.fillStyle = "#000";
    for (let y = 0; y < 64; y++) {
      for (let x = 0; x < 48; x++) {
        const sx = Math.floor((x - left + 0.5) / scale), sy = Math.floor((y - top + 0.5) / scale);
        if (sx >= 0 && sy >= 0 && sx < still.w && sy < still.h && mask[sy * still.w + sx]) pen.fillRect(x, y, 1, 1);
      }
    }
  }

  function mark(k) {
    const still = stills[k], button = all("#strip button")[k];
    const words = { doubted: "not trusted", "no figure": "no figure", trusted: "", "by hand": "by hand" };
    button.classList.toggle("doubt", still.state === "doubted" || still.state === "no figure");
    button.querySelector("span").textContent = still.saved ? "saved" : still.changed ? "changed" : words[still.state];
    if (k === i) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  }

  function go(to) {
    dropStroke();
    const last = i;
    i = (to + stills.length) % stills.length;
    const still = stills[i], labels = labelsOf(still);
    begin(still, labels);
    now = index(still, labels);
    now.frame = frameOf(still);
    hover = null;
    photo.src = still.photo;
    for (const canvas of [over, black]) { canvas.width = still.w; canvas.height = still.h; }
    overPixels = new ImageData(still.w, still.h);
    blackPixels = new ImageData(still.w, still.h);
    at("name").textContent = still.name;
    at("said").textContent = still.said;
    tell("");
    mark(last);
    changed();
    look(...now.frame);
    paint();
    all("#strip button")[i].scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  function walk(way) {
    const pieces = now.walk;
    now.step = (now.step + way + pieces.length + (now.step < 0 && way < 0 ? 1 : 0)) % pieces.length;
    hover = now.parts[pieces[now.step]];
    const p = now.order[now.start[hover[0]]], x = p % now.still.w, y = (p - x) / now.still.w, stage = at("stage");
    const sx = view.x + x * view.zoom, sy = view.y + y * view.zoom;
    if (sx < 0 || sy < 0 || sx > stage.clientWidth || sy > stage.clientHeight) {
      view.x += stage.clientWidth / 2 - sx;
      view.y += stage.clientHeight / 2 - sy;
    }
    tell(`Piece ${now.step + 1} of ${pieces.length}: ${isFigure(hover) ? "figure" : "not figure"}. Enter flips it.`);
    draw();
  }

  function flipWalked() {
    if (now.step < 0) return;
    const before = now.still.mask.slice(), value = Number(!isFigure(hover)), { w, h } = now.still;
    each(hover, (p) => { now.still.mask[p] = value; });
    remember(before, [0, 0, w, h]);
    paint();
    tell(`Piece ${now.step + 1} of ${now.walk.length}: now ${value ? "figure" : "not figure"}.`);
  }

  // ------------------------------------------------------------------------------------------------------ mouse and touch
  const stage = at("stage"), fingers = new Map();
  let pan = null;
  const place = (event) => {
    const box = stage.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  const inPicture = ({ x, y }) => [(x - view.x) / view.zoom, (y - view.y) / view.zoom];

  stage.addEventListener("pointerdown", (event) => {
    const here = place(event);
    fingers.set(event.pointerId, here);
    stage.setPointerCapture(event.pointerId);
    hover = null;
    now.step = -1;
    if (fingers.size > 1) { dropStroke(); pan = null; return; }
    if (tool === "move" || event.button > 0) pan = here;
    else startStroke(...inPicture(here));
  });
  stage.addEventListener("pointermove", (event) => {
    const here = place(event), before = fingers.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType === "mouse") point(here);
      return;
    }
    if (fingers.size > 1) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const was = Math.hypot(before.x - other.x, before.y - other.y), is = Math.hypot(here.x - other.x, here.y - other.y);
      view.x += (here.x - before.x) / 2;
      view.y += (here.y - before.y) / 2;
      if (was > 0) zoom(is / was, (here.x + other.x) / 2, (here.y + other.y) / 2);
    } else if (pan !== null) {
      view.x += here.x - pan.x;
      view.y += here.y - pan.y;
      pan = here;
      draw();
    } else if (stroke !== null) moveStroke(...inPicture(here));
    fingers.set(event.pointerId, here);
  });
  for (const [kind, end] of [["pointerup", endStroke], ["pointercancel", dropStroke]]) {
    stage.addEventListener(kind, (event) => {
      fingers.delete(event.pointerId);
      pan = null;
      end();
    });
  }
  stage.addEventListener("pointerleave", () => { if (now.step < 0) { hover = null; draw(); } });
  stage.addEventListener("contextmenu", (event) => event.preventDefault());
  stage.addEventListener("wheel", (event) => {
    event.preventDefault();
    const { x, y } = place(event);
    zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), x, y);
  }, { passive: false });

  function point(here) {
    const [x, y] = inPicture(here).map(Math.floor), { w, h } = now.still;
    const on = x >= 0 && y >= 0 && x < w && y < h && !(tool in BRUSH) && tool !== "move";
    const found = on ? piecesAt(y * w + x) : null;
    if ((found && found[0]) === (hover && hover[0])) return;
    now.step = -1;
    hover = found;
    draw();
  }

  function choose(what) {
    tool = what;
    hover = null;
    for (const button of all("[data-tool]")) button.setAttribute("aria-pressed", String(button.dataset.tool === what));
    stage.style.cursor = what === "move" ? "grab" : what in BRUSH ? "crosshair" : "pointer";
    draw();
  }

  // -------------------------------------------------------------------------------------------------------------- saving
  // A PNG of one bit a pixel, made here: what a browser reads back from a canvas may be altered to protect its user.
  const CRC = Uint32Array.from({ length: 256 }, (_, n) => {
    for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
    return n >>> 0;
  });

  function png(mask, w, h) {
    const row = 1 + ((w + 7) >> 3), raw = new Uint8Array(row * h);
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (mask[y * w + x]) raw[y * row + 1 + (x >> 3)] |= 128 >> (x & 7);
    const blocks = Math.max(1, Math.ceil(raw.length / 65535)), packed = new Uint8Array(2 + raw.length + 5 * blocks + 4);
    packed.set([0x78, 0x01]);
    let to = 2, a = 1, b = 0;
    for (let k = 0; k < blocks; k++) { // stored, not packed: it is small as it is
      const part = raw.subarray(k * 65535, (k + 1) * 65535), n = part.length;
      packed.set([k + 1 === blocks ? 1 : 0, n & 255, n >> 8, ~n & 255, (~n >> 8) & 255], to);
      packed.set(part, to + 5);
      to += 5 + n;
    }
    for (const value of raw) { a = (a + value) % 65521; b = (b + a) % 65521; }
    new DataView(packed.buffer).setUint32(to, b * 65536 + a);
    const head = new Uint8Array(13), size = new DataView(head.buffer);
    size.setUint32(0, w);
    size.setUint32(4, h);
    head.set([1, 0, 0, 0, 0], 8);
    const signature = Uint8Array.of(137, 80, 78, 71, 13, 10, 26, 10);
    return new Blob([signature, chunk("IHDR", head), chunk("IDAT", packed), chunk("IEND", new Uint8Array(0))], { type: "image/png" });
  }

  function chunk(kind, content) {
    const made = new Uint8Array(12 + content.length), words = new DataView(made.buffer);
    words.setUint32(0, content.length);
    made.set([...kind].map((letter) => letter.charCodeAt(0)), 4);
    made.set(content, 8);
    let crc = 0xffffffff;
    for (let k = 4; k < made.length - 4; k++) crc = CRC[(crc ^ made[k]) & 255] ^ (crc >>> 8);
    words.setUint32(made.length - 4, (crc ^ 0xffffffff) >>> 0);
    return made;
  }

  async function save(wanted) {
    const named = [], empty = wanted.filter((still) => !still.mask.some((on) => on));
    if (empty.length) return tell(`${empty[0].name} has no figure yet. Tap it first.`);
    for (const still of wanted) {
      const blob = png(still.mask, still.w, still.h);
      try {
        if (folder === null) await download(blob, still.file);
        else await put(blob, still);
      } catch (error) {
        return tell(`${still.file} could not be saved (${error.message}). Choose the folder again.`);
      }
      still.saved = true;
      named.push(still.file);
      mark(stills.indexOf(still));
    }
    at("save-all").disabled = unsaved().length === 0;
    tell(`${named.length === 1 ? named[0] : `${named.length} masks`} saved${folder === null ? "" : ` into ${folder.name}`}.`);
  }

  async function download(blob, name) {
    const link = document.createElement("a"), address = URL.createObjectURL(blob);
    link.href = address;
    link.download = name;
    link.click();
    await new Promise((done) => setTimeout(done, 200)); // several at once are dropped
    setTimeout(() => URL.revokeObjectURL(address), 60000);
  }

  async function put(blob, still) {
    const file = await folder.getFileHandle(still.file, { create: true }), out = await file.createWritable();
    await out.write(blob);
    await out.close();
  }

  async function chooseFolder() {
    let found;
    try {
      found = await window.showDirectoryPicker({ mode: "readwrite" });
      const path = stills[0].beside.split("/");
      let inside = found;
      for (const ring of path.slice(0, -1)) inside = await inside.getDirectoryHandle(ring);
      await inside.getFileHandle(path.at(-1));
      folder = data.masks ? await found.getDirectoryHandle(data.masks, { create: true }) : found;
    } catch (error) {
      if (error.name === "NotFoundError") tell(`${found.name} does not hold ${stills[0].beside}. Choose the folder of the pictures.`);
      else if (error.name !== "AbortError") tell(`This folder cannot be used (${error.message}).`);
      return;
    }
    at("choose").textContent = `Saving into ${folder.name}`;
    tell(`Masks now go straight into ${folder.name}. One of the same name is replaced.`);
  }

  const tell = (words) => { at("answer").textContent = words; };

  // ---------------------------------------------------------------------------------------------------------------- keys
  const keys = {
    ArrowRight: () => go(i + 1), ArrowLeft: () => go(i - 1), u: undo, x: takeAllOut, s: () => save([now.still]), n: () => walk(1), p: () => walk(-1),
    "+": () => zoom(1.4), "=": () => zoom(1.4), "-": () => zoom(1 / 1.4), 0: () => look(0, 0, now.still.w, now.still.h),
    1: () => choose("large"), 2: () => choose("small"), 3: () => choose("brush"), 4: () => choose("fine"), 5: () => choose("move"),
    Enter: flipWalked,
  };
  document.addEventListener("keydown", (event) => {
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if ((event.ctrlKey || event.metaKey) && key === "z") { event.preventDefault(); undo(); return; }
    if (event.ctrlKey || event.metaKey || event.altKey || keys[key] === undefined) return;
    if (key === "Enter" && event.target.closest("button")) return;
    event.preventDefault();
    keys[key]();
  });
  for (const button of all("[data-tool]")) button.addEventListener("click", () => choose(button.dataset.tool));
  for (const button of all("#strip button")) button.addEventListener("click", () => go(Number(button.dataset.i)));
  const buttons = {
    in: keys["+"], out: keys["-"], fit: keys[0], undo, "as-it-was": asItWas, empty: takeAllOut, save: keys.s, "save-all": () => save(unsaved()),
    choose: chooseFolder, back: keys.ArrowLeft, next: keys.ArrowRight,
  };
  for (const [id, act] of Object.entries(buttons)) at(id).addEventListener("click", act);
  at("choose").hidden = !window.showDirectoryPicker;
  let wide = stage.clientWidth;
  window.addEventListener("resize", () => { // a phone's address bar comes and goes: that is no reason to lose the zoom
    if (stage.clientWidth === wide) return draw();
    wide = stage.clientWidth;
    look(...now.frame);
  });
  window.addEventListener("beforeunload", (event) => { if (unsaved().length) event.preventDefault(); });
  photo.addEventListener("load", draw);

  stills.forEach((still, k) => {
    thumb(k, maskOf(still, labelsOf(still)));
    mark(k);
  });
  go(0);
})();
