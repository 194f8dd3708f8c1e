// Turns, lights, cuts and measures the massing model. Draws its triangles with the browser's canvas for solid shapes, or
// paints them one by one where there is none. No framework, nothing fetched.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("data").textContent);
  const at = (id) => document.getElementById(id);
  const { sections, joints } = data, [low, high] = data.box;
  const pieces = straightPieces(data.wires);
  const MIDDLE = (low[2] + high[2]) / 2, TALL = high[2] - low[2];
  const REACH = Math.hypot(Math.max(-low[0], high[0]), Math.max(-low[1], high[1]));   // from the turning axis
  const FAR = 2 * Math.hypot(REACH, TALL);
  const LEAST_TILT = -20, MOST_TILT = 90, MOST_ZOOM = 12, STEP = 15, NEAR_PX = 26, FAINT = 0.3;
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const state = { angle: 0, tilt: 0, zoom: 1, x: 0, y: 0, cut: sections.length, silhouette: false, wire: true,
    lighting: false, light: [-0.5, 0.55], from: null, to: null };
  const stage = at("stage"), size = { w: 1, h: 1, dpr: 1 };

  // --------------------------------------------------------------------------------------------------- shapes and tones
  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;

  function unpack(told) {
    const points = new Int16Array(bytes(told.points)), places = new Float32Array(points.length);
    for (let k = 0; k < points.length; k++) places[k] = told.corner[k % 3] + told.step * points[k];
    return { places, facing: new Int8Array(bytes(told.facing)), faces: new Uint16Array(bytes(told.faces)) };
  }

  function tones() {
    const style = getComputedStyle(document.documentElement);
    const read = (name) => style.getPropertyValue(`--${name}`).trim();
    return Object.fromEntries(["clay", "shade", "cut", "ink", "paper", "wire", "halo", "accent", "stage"].map((name) => [name, read(name)]));
  }
  const rgb = (hex) => [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16) / 255);

  // ------------------------------------------------------------------------------------- where a point is in the picture
  // Seen from far off, so that all measures across the picture are true, as on the sheets.
  function axes() {
    const a = state.angle * Math.PI / 180, e = state.tilt * Math.PI / 180;
    return { right: [Math.cos(a), -Math.sin(a), 0], up: [Math.sin(a) * Math.sin(e), Math.cos(a) * Math.sin(e), Math.cos(e)],
      toward: [-Math.sin(a) * Math.cos(e), -Math.cos(a) * Math.cos(e), Math.sin(e)] };
  }
  const dot = (u, v) => u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
  function pxPerMm() {
    const tall = Math.max(TALL, 2 * REACH * Math.sin(Math.abs(state.tilt) * Math.PI / 180));
    const room = size.w < 600 ? size.h - 124 : 0.9 * size.h;      // on a phone words and buttons stand over and under it
    return state.zoom * Math.min(0.9 * size.w / (2 * REACH), Math.max(room, 0.5 * size.h) / tall);
  }

  function projector() {
    const { right, up, toward } = axes(), k = pxPerMm(), cx = size.w / 2 + state.x, cy = size.h / 2 + state.y;
    return (p) => {
      const q = [p[0], p[1], p[2] - MIDDLE];
      return [cx + k * dot(right, q), cy - k * dot(up, q), dot(toward, q)];
    };
  }

  function lightFrom({ right, up, toward }) {
    const [x, y] = state.light, z = Math.sqrt(Math.max(0, 1 - x * x - y * y));
    return [0, 1, 2].map((k) => x * right[k] + y * up[k] + z * toward[k]);
  }
  const cutAt = () => (state.cut < sections.length ? sections[state.cut].z : FAR);

  // ------------------------------------------------------------------------------------------------ drawn by the browser
  function solidPainter(canvas, shape) {
    const gl = canvas.getContext("webgl", { antialias: true, alpha: true });
    if (gl === null) return null;
    const program = gl.createProgram();
    for (const [kind, id] of [[gl.VERTEX_SHADER, "place-of"], [gl.FRAGMENT_SHADER, "tone-of"]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, at(id).textContent);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) return null;
    gl.useProgram(program);
    const fill = (name, values, kind) => {
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, values, gl.STATIC_DRAW);
      const place = gl.getAttribLocation(program, name);
      gl.enableVertexAttribArray(place);
      gl.vertexAttribPointer(place, 3, kind, kind === gl.BYTE, 0, 0);
    };
    fill("place", shape.places, gl.FLOAT);
    fill("facing", shape.facing, gl.BYTE);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, shape.faces, gl.STATIC_DRAW);
    for (const what of [gl.DEPTH_TEST, gl.CULL_FACE, gl.POLYGON_OFFSET_FILL]) gl.enable(what);
    const where = (name) => gl.getUniformLocation(program, name);
    return (tone) => {
      const turned = axes(), k = pxPerMm();
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      const threes = { ...turned, light: lightFrom(turned), clay: rgb(tone.clay), shade: rgb(tone.shade), cutTone: rgb(tone.cut), ink: rgb(tone.ink) };
      for (const [name, value] of Object.entries(threes)) gl.uniform3fv(where(name), value);
      gl.uniform2f(where("scale"), 2 * k / size.w, 2 * k / size.h);
      gl.uniform2f(where("aside"), 2 * state.x / size.w, -2 * state.y / size.h);
      for (const [name, value] of Object.entries({ middle: MIDDLE, far: FAR, cut: cutAt(), plain: Number(state.silhouette) })) gl.uniform1f(where(name), value);
      // Where it is cut the inside is seen: behind the outside, or it would shine through along the edges.
      for (const [side, behind] of state.cut < sections.length ? [[gl.FRONT, 2], [gl.BACK, 0]] : [[gl.BACK, 0]]) {
        gl.cullFace(side);
        gl.polygonOffset(behind, behind);
        gl.drawElements(gl.TRIANGLES, shape.faces.length, gl.UNSIGNED_SHORT, 0);
      }
    };
  }

  // ----------------------------------------------------------------------------------------------------------- drawn flat
  // The farthest triangle first (painter's algorithm), each in one tone; those that a cut crosses are cut.
  function flatPainter(canvas, shape) {
    const paint = canvas.getContext("2d"), count = shape.faces.length / 3;
    const corner = (f, k) => shape.faces[3 * f + k];
    const faces = (f) => [0, 1, 2].map((i) => [0, 1, 2].reduce((sum, k) => sum + shape.facing[3 * corner(f, k) + i] / 3, 0));
    const place = (v) => [shape.places[3 * v], shape.places[3 * v + 1], shape.places[3 * v + 2]];
    return (tone) => {
      const turned = axes(), light = lightFrom(turned), to = projector(), cut = cutAt();
      const clay = rgb(tone.clay), shade = rgb(tone.shade), drawn = [];
      for (let f = 0; f < count; f++) {
        const ends = [0, 1, 2].map((k) => place(corner(f, k))), n = across(ends);
        const inside = dot(n, turned.toward) < 0;
        if (inside && cut === FAR) continue;
        const left = below(ends, cut).map(to);
        if (left.length < 3) continue;
        drawn.push({ left, depth: left.reduce((sum, p) => sum + p[2], 0) / left.length, tone: inside ? tone.cut : toneOf(dot(faces(f), light) / 127, clay, shade) });
      }
      drawn.sort((one, other) => one.depth - other.depth);
      paint.setTransform(size.dpr, 0, 0, size.dpr, 0, 0);
      paint.clearRect(0, 0, size.w, size.h);
      paint.lineWidth = 0.8;
      for (const { left, tone: own } of drawn) {
        paint.fillStyle = paint.strokeStyle = state.silhouette ? tone.ink : own;
        paint.beginPath();
        left.forEach(([x, y], k) => (k ? paint.lineTo(x, y) : paint.moveTo(x, y)));
        paint.closePath();
        paint.fill();
        paint.stroke();           // or hairlines of the ground show between triangles
      }
    };
  }

  function across([a, b, c]) {
    const u = [0, 1, 2].map((k) => b[k] - a[k]), v = [0, 1, 2].map((k) => c[k] - a[k]);
    const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]], long = Math.hypot(...n) || 1;
    return n.map((x) => x / long);
  }

  // What is left of a triangle, or of a line, on one side of a height.
  function below(ends, z, way = 1) {
    const kept = [], stays = (p) => way * p[2] <= way * z, last = ends.length === 2 ? 1 : ends.length;
    ends.forEach((p, k) => {
      const q = ends[(k + 1) % ends.length];
      if (stays(p)) kept.push(p);
      if (k < last && stays(p) !== stays(q)) kept.push(p.map((x, i) => x + (q[i] - x) * (z - p[2]) / (q[2] - p[2])));
    });
    return kept;
  }
  const above = (ends, z) => below(ends, z, -1);

  function toneOf(facing, clay, shade) {
    const t = Math.min(1, Math.max(0, (facing + 0.35) / 1.35)), lit = t * t * (3 - 2 * t);
    return `rgb(${clay.map((c, k) => Math.round(255 * (shade[k] + (c - shade[k]) * lit)))})`;
  }

  // ---------------------------------------------------------------------------------------------------- the wire over it
  // Wires that run along each other, as those of both legs in the trunk, are drawn once.
  function straightPieces(lines) {
    const found = new Map();
    for (const line of lines) line.slice(1).forEach((q, k) => found.set([line[k], q].map(String).sort().join(), [line[k], q]));
    return [...found.values()];
  }

  function drawWire(paint, tone) {
    paint.setTransform(size.dpr, 0, 0, size.dpr, 0, 0);
    paint.clearRect(0, 0, size.w, size.h);
    const to = projector(), cut = cutAt(), [line, halo] = state.silhouette ? [tone.paper, tone.ink] : [tone.wire, tone.halo];
    if (state.wire) {
      for (const [wide, own] of [[6, halo], [2.5, line]]) {
        for (const [p, q] of pieces) {
          for (const [part, alpha] of [[above([p, q], cut), FAINT], [below([p, q], cut), 1]]) {
            paint.globalAlpha = alpha;
            if (part.length > 1) stroke(paint, part.map(to), wide, own);
          }
        }
      }
      joints.forEach((joint) => drawJoint(paint, to(joint.at), joint.sure, line, halo, joint.at[2] > cut ? FAINT : 1));
    }
    paint.globalAlpha = 1;
    const picked = [state.from, state.to].filter((k) => k !== null).map((k) => joints[k]);
    if (picked.length === 2) stroke(paint, picked.map((joint) => to(joint.at)), 3, tone.accent, [7, 5]);
    const higher = picked.map((joint) => [joint.name, ...to(joint.at)]).sort((one, other) => one[2] - other[2]);
    higher.forEach(([words, x, y], k) => {
      ring(paint, x, y, 9, 3, tone.accent);
      label(paint, words, x, y + (k ? 42 : 0), tone);       // one over its joint, one under it
    });
    if (state.lighting) drawLight(paint, tone);
  }

  function stroke(paint, places, wide, tone, dashes = []) {
    paint.setLineDash(dashes);
    paint.lineCap = "round";
    paint.lineWidth = wide;
    paint.strokeStyle = tone;
    paint.beginPath();
    places.forEach(([x, y], k) => (k ? paint.lineTo(x, y) : paint.moveTo(x, y)));
    paint.stroke();
    paint.setLineDash([]);
  }

  function ring(paint, x, y, r, wide, tone, inside = null) {
    paint.beginPath();
    paint.arc(x, y, r, 0, 2 * Math.PI);
    if (inside !== null) {
      paint.fillStyle = inside;
      paint.fill();
    }
    paint.lineWidth = wide;
    paint.strokeStyle = tone;
    paint.stroke();
  }

  function drawJoint(paint, [x, y], sure, line, halo, alpha) {
    paint.globalAlpha = alpha;
    ring(paint, x, y, 6, 1.5, halo, halo);
    ring(paint, x, y, 4.5, 2, line, sure ? line : halo);
  }

  function label(paint, words, x, y, tone) {
    paint.font = "600 14px system-ui, sans-serif";
    const wide = paint.measureText(words).width, left = Math.min(Math.max(x + 14, 4), size.w - wide - 12);
    paint.fillStyle = tone.paper;
    paint.fillRect(left - 4, y - 24, wide + 8, 20);
    paint.fillStyle = tone.ink;
    paint.fillText(words, left, y - 9);
  }

  // Where the light comes from: a sun on the disc of all the directions before the model.
  function drawLight(paint, tone) {
    const r = Math.min(64, size.w / 6), x = r + 14, y = size.h - r - 14, [lx, ly] = state.light;
    ring(paint, x, y, r, 1.5, tone.ink);
    stroke(paint, [[x, y], [x + r * lx, y - r * ly]], 1.5, tone.ink);
    ring(paint, x + r * lx, y - r * ly, 8, 2, tone.ink, tone.accent);
  }

  // ------------------------------------------------------------------------------------------------------------- the page
  const canvas = () => stage.insertBefore(document.createElement("canvas"), stage.firstChild);
  let body = canvas(), paintBody = null;
  const over = document.createElement("canvas"), wires = over.getContext("2d");
  body.after(over);

  function begin() {
    paintBody = solidPainter(body, unpack(data.shape));
    if (paintBody === null) goFlat();
    body.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      goFlat();
      ask();
    });
  }

  function goFlat() {
    body.remove();
    body = canvas();
    paintBody = flatPainter(body, unpack(data.flat));
    at("flat").hidden = false;
    fit();
  }

  function fit() {
    const box = stage.getBoundingClientRect();
    Object.assign(size, { w: Math.max(box.width, 1), h: Math.max(box.height, 1), dpr: Math.min(devicePixelRatio || 1, 2) });
    for (const one of [body, over]) Object.assign(one, { width: Math.round(size.w * size.dpr), height: Math.round(size.h * size.dpr) });
    ask();
  }

  let asked = 0;
  function ask() {
    asked = asked || requestAnimationFrame(() => {
      asked = 0;
      const tone = tones();
      paintBody(tone);
      drawWire(wires, tone);
      say();
    });
  }

  function say() {
    const angle = Math.round(state.angle) % 360, tilt = Math.round(state.tilt);
    const side = tilt > 75 ? "from above" : data.sides[Math.round(angle / 45) % 8] + (tilt ? `, ${Math.abs(tilt)} degrees from ${tilt > 0 ? "above" : "below"}` : "");
    at("angle").textContent = angle;
    at("side").textContent = side;
    at("round").value = angle;
    at("round").setAttribute("aria-valuetext", `${angle} degrees, ${side}`);
    stage.setAttribute("aria-label", `The massing model at ${angle} degrees, ${side}; arrow keys turn it`);
    for (const [id, on] of [["silhouette", state.silhouette], ["wire", state.wire], ["light", state.lighting]]) at(id).setAttribute("aria-pressed", on);
    at("light-said").hidden = !state.lighting;
  }

  let moving = 0;
  function turnTo(angle, tilt) {
    cancelAnimationFrame(moving);
    const way = ((angle - state.angle + 540) % 360) - 180, from = { ...state }, began = performance.now(), lasts = calm.matches ? 0 : 260;
    const step = (now) => {
      const t = lasts ? Math.min((now - began) / lasts, 1) : 1, s = t * t * (3 - 2 * t);
      state.angle = (from.angle + way * s + 720) % 360;
      state.tilt = from.tilt + (tilt - from.tilt) * s;
      ask();
      if (t < 1) moving = requestAnimationFrame(step);
    };
    step(began);
  }
  const turn = (by, tilt = 0) => {
    cancelAnimationFrame(moving);
    state.angle = (state.angle + by + 720) % 360;
    state.tilt = Math.min(Math.max(state.tilt + tilt, LEAST_TILT), MOST_TILT);
    ask();
  };
  const zoom = (by, x = size.w / 2, y = size.h / 2) => {
    const wanted = Math.min(Math.max(state.zoom * by, 1), MOST_ZOOM), grown = wanted / state.zoom;
    state.x = (state.x - (x - size.w / 2)) * grown + (x - size.w / 2);
    state.y = (state.y - (y - size.h / 2)) * grown + (y - size.h / 2);
    state.zoom = wanted;
    move(0, 0);
  };
  const move = (x, y) => {
    const most = (state.zoom - 1) / 2;
    state.x = Math.min(Math.max(state.x + x, -most * size.w), most * size.w);
    state.y = Math.min(Math.max(state.y + y, -most * size.h), most * size.h);
    ask();
  };
  const all = () => { Object.assign(state, { zoom: 1, x: 0, y: 0 }); ask(); };
  const light = (x, y) => {
    const to = [state.light[0] + x, state.light[1] + y], long = Math.max(Math.hypot(...to) / 0.99, 1);
    state.light = to.map((v) => v / long);
    ask();
  };
  const flip = (name) => () => { state[name] = !state[name]; ask(); };

  // ---------------------------------------------------------------------------------------------------- cut and measured
  const number = (mm) => (mm >= 100 ? mm.toFixed(0) : mm.toFixed(1));
  // As built; where the material shrinks, finished too.
  const shrinks = Math.abs(data.finished - 1) > 1e-9;
  const length = (mm) => (!shrinks ? `${number(mm)} mm` : `${number(mm)} mm as built, ${number(mm * data.finished)} mm finished`);

  function cut(to) {
    if (!sections.length) return;
    state.cut = Math.min(Math.max(to, 0), sections.length);
    const open = state.cut < sections.length, one = sections[state.cut];
    const words = open ? `Section ${state.cut + 1} of ${sections.length}. Above the base: ${length(one.over)}. Wide: ${length(one.wide)}. Deep: ${length(one.deep)}. ${one.area.toFixed(1)} cm²${shrinks ? " as built" : ""}.` : "Not cut.";
    at("cut").value = state.cut;
    at("cut").setAttribute("aria-valuetext", words);
    at("cut-said").textContent = words;
    at("plan").toggleAttribute("hidden", !open);
    at("section").setAttribute("d", open ? one.path : "");
    ask();
  }

  function plan() {
    if (!sections.length) return;
    const edge = (k, most) => most(...sections.map((one) => one.box[k])), air = 20;
    const [left, front, right, back] = [edge(0, Math.min) - air, edge(1, Math.min) - air, edge(2, Math.max) + air, edge(3, Math.max) + air];
    at("plan").setAttribute("viewBox", `${left} ${-back} ${right - left} ${back - front}`);
    at("section").setAttribute("transform", "scale(1 -1)");       // the back at the head of the picture
    const axis = document.createElementNS("http://www.w3.org/2000/svg", "path");
    axis.setAttribute("class", "axis");
    axis.setAttribute("d", `M${left} 0H${right}M0 ${-back}V${-front}`);
    at("plan").append(axis);
  }

  function measure(from, to) {
    Object.assign(state, { from, to });
    for (const end of ["from", "to"]) at(end).value = state[end] === null ? "" : state[end];
    const [a, b] = [from, to].map((k) => (k === null ? null : joints[k]));
    at("measured").textContent = a && b && from !== to ? measured(a, b) : a || b ? `${(a || b).name}. Choose another joint.` : "";
    ask();
  }

  function measured(a, b) {
    const mm = Math.hypot(...a.at.map((v, k) => v - b.at[k])), unsure = [a, b].filter((joint) => !joint.sure);
    const within = Math.hypot(a.within || 0, b.within || 0);
    const words = `${a.name} to ${b.name}: ${length(mm)}, ${(mm * data.model * 100).toFixed(1)} cm on the model, give or take ${number(within)} mm.`;
    return unsure.length ? `${words} Not sure: ${unsure.map((joint) => joint.name).join(" and ")}.` : words;
  }

  function tap(x, y) {
    const to = projector();
    const near = joints.map((joint, k) => ({ k, far: Math.hypot(to(joint.at)[0] - x, to(joint.at)[1] - y) })).filter(({ far }) => far < NEAR_PX);
    if (!near.length) return;
    const { k } = near.reduce((one, other) => (other.far < one.far ? other : one));
    if (state.from !== null && state.to === null && k !== state.from) measure(state.from, k); else measure(k, null);
  }

  // ----------------------------------------------------------------------------------------------- keys, hand and fingers
  const ways = (x, y) => (state.lighting ? light(0.12 * x, 0.12 * y) : turn(STEP * x, STEP * y));
  const keys = {
    ArrowRight: () => ways(1, 0), ArrowLeft: () => ways(-1, 0), ArrowUp: () => ways(0, 1), ArrowDown: () => ways(0, -1),
    PageUp: () => turn(90), PageDown: () => turn(-90), Home: () => turnTo(0, 0), "+": () => zoom(1.25), "=": () => zoom(1.25), "-": () => zoom(0.8), 0: all,
    s: flip("silhouette"), w: flip("wire"), l: flip("lighting"),
    1: () => turnTo(0, 0), 2: () => turnTo(90, 0), 3: () => turnTo(180, 0), 4: () => turnTo(270, 0), 5: () => turnTo(0, 90),
  };
  const shifted = { ArrowUp: () => cut(state.cut + 1), ArrowDown: () => cut(state.cut - 1) };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("select, input")) return;
    const act = (event.shiftKey && shifted[event.key]) || keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (act === undefined) return;
    event.preventDefault();
    act();
  });

  const fingers = new Map();
  let dragged = 0;
  const spot = (event) => {
    const box = stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  stage.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || event.target.closest("button")) return;
    cancelAnimationFrame(moving);
    fingers.set(event.pointerId, spot(event));
    if (fingers.size === 1) dragged = 0;
    stage.setPointerCapture(event.pointerId);
    stage.classList.add("dragging");
  });
  stage.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (before === undefined) return;
    const now = spot(event), [x, y] = [now[0] - before[0], now[1] - before[1]];
    const other = [...fingers].find(([id]) => id !== event.pointerId);
    fingers.set(event.pointerId, now);
    dragged += Math.hypot(x, y);
    if (other !== undefined) {
      const apart = (p) => Math.hypot(p[0] - other[1][0], p[1] - other[1][1]) || 1;
      zoom(apart(now) / apart(before), (now[0] + other[1][0]) / 2, (now[1] + other[1][1]) / 2);
      move(x / 2, y / 2);
    } else if (event.shiftKey) move(x, y);
    else if (state.lighting) light(2 * x / Math.min(size.w, size.h), -2 * y / Math.min(size.w, size.h));
    else turn(360 * x / size.w, 180 * y / size.h);      // the near side follows the hand
  });
  for (const end of ["pointerup", "pointercancel"]) {
    stage.addEventListener(end, (event) => {
      if (!fingers.delete(event.pointerId)) return;
      stage.classList.remove("dragging");
      if (end === "pointerup" && dragged < 6 && !fingers.size) tap(...spot(event));
    });
  }
  stage.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(Math.exp(-event.deltaY / 500), ...spot(event));
  }, { passive: false });

  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => turnTo(...button.dataset.view.split(",").map(Number)));
  }
  const on = (id, what, act) => at(id) && at(id).addEventListener(what, act);
  on("round", "input", () => { state.angle = Number(at("round").value); ask(); });
  on("in", "click", () => zoom(1.25));
  on("out", "click", () => zoom(0.8));
  on("fit", "click", all);
  on("silhouette", "click", flip("silhouette"));
  on("wire", "click", flip("wire"));
  on("light", "click", flip("lighting"));
  on("cut", "input", () => cut(Number(at("cut").value)));
  on("lower", "click", () => cut(state.cut - 1));
  on("higher", "click", () => cut(state.cut + 1));
  for (const end of ["from", "to"]) {
    on(end, "change", () => measure(...["from", "to"].map((one) => (at(one).value === "" ? null : Number(at(one).value)))));
  }
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);
  new ResizeObserver(fit).observe(stage);
  fit();
  begin();
  plan();
  cut(sections.length);
})();
