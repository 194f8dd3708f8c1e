// Turns the figures of all panes in step. No framework, nothing fetched. `first` is the pose shown at the beginning;
// `awake` says whether keys that are pressed anywhere on the page turn it.
// A pose shot in several rings is turned in the one that is chosen, where it has that one, else in its headline's.
// Gives what a page around it needs: to turn, to ask what is shown, to hear of it, and to let go of the keys.
function turnFigures(first = 0, awake = () => true) {
  const poses = JSON.parse(document.getElementById("data").textContent);
  const find = (selector, root = document) => root.querySelector(selector);
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  // The rings of each pose, the highest first; a pose of one ring has one without a name.
  const ringsOf = poses.map((pose, i) => (pose.rings || [{ ring: "", key: "" }]).map(
    (one) => ({ views: pose.views, ...one, key: `p${i}${one.key}`, own: !one.views })));
  const choices = all("input[name=ring]");
  const slider = find("#angle"), shown = find("#shown"), compare = find("#compare"), pick = find("#pick");
  const SVG = "http://www.w3.org/2000/svg";
  const layers = () => Object.fromEntries(all(".layers input").map((box) => [box.value, box.checked]));
  // Stands in where a pose has no view at all.
  const nothing = (a) => ({ a, side: "no view", s: "no view", b: "none", h: 1, c: "", r: null, why: [], flags: [], marks: [] });
  const gone = new AbortController(), arranged = [];
  let second = null, ring = ringsOf[first].find((one) => one.own).ring;
  // `aim` is what was last asked for; a ring need not have a stop there.
  let aim = 0, angle = (poses.flatMap((pose) => pose.views)[0] || nothing(0)).a;

  const apart = (a, b) => Math.abs(((a - b + 540) % 360) - 180);
  const at = (pose) => ringsOf[pose].find((one) => one.ring === ring) || ringsOf[pose].find((one) => one.own);
  const nearest = (pose, to) => at(pose).views.reduce(
    (best, view, i, views) => (apart(view.a, to) < apart(views[best].a, to) - 1e-9 ? i : best), 0);

  function draw(tag, attributes, parent, text) {
    const made = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    if (text !== undefined) made.textContent = text;
    parent.appendChild(made);
    return made;
  }

  function drawStage(pane, key, i, view) {
    const stage = find(".stage", pane), on = layers();
    const figure = find(".figure", stage);
    figure.replaceChildren();
    figure.setAttribute("transform", `translate(0 ${1000 * (1 - view.h)}) scale(${view.h})`);
    if (on.gaps) for (const [d, kind] of view.gaps || []) draw("path", { d, class: `gap ${kind}` }, figure);
    if (on.figure && document.getElementById(`${key}v${i}`)) draw("use", { href: `#${key}v${i}`, class: view.c }, figure);
    if (on.parts) for (const d of view.parts || []) draw("path", { d, class: "part" }, figure);
    if (on.wrap && view.wrap) draw("path", { d: view.wrap, class: "wrap" }, figure);
    if (!on.marks) return;
    for (const [cx, cy, rx, ry] of view.marks) {
      draw("ellipse", { cx, cy, rx, ry, class: "rim" }, figure);
      draw("ellipse", { cx, cy, rx, ry, class: "ring" }, figure);
    }
    for (const [cx, cy, rx, ry, n] of view.marks) {
      const spot = draw("g", { class: "number", transform: `translate(${cx - 0.7 * rx - 14} ${cy - 0.7 * ry - 14})` }, figure);
      draw("circle", { r: 27 }, spot);
      draw("text", { y: 12 }, spot, n);
    }
  }

  function tell(pane, view, name) {
    const words = (selector, text) => { find(selector, pane).textContent = text; };
    words(".where", `${Math.round(view.a) % 360} degrees, ${view.side}${name ? `, ${name}` : ""}`);
    words(".word", view.s);
    const swatch = find(".swatch rect", pane);
    swatch.setAttribute("class", view.b === "none" ? "noview" : view.b);
    const list = find(".why", pane);
    list.replaceChildren(...view.why.map(([text, number]) => {
      const row = document.createElement("li");
      if (number) row.appendChild(document.createElement("b")).textContent = number;
      row.appendChild(document.createTextNode(text));
      return row;
    }));
    words(".numbers", view.r ? `reads ${view.r[0]}, clear ${view.r[1]}, interest ${view.r[2]} of 100` : "not scored");
    words(".flags", view.flags.join(". "));
  }

  function show(pane, pose) {
    const { key, views, name, own } = at(pose), i = nearest(pose, angle), view = views[i] || nothing(angle);
    drawStage(pane, key, i, view);
    tell(pane, view, name);
    // The camera stands at the band of the ring that is shown, if the wheel has it.
    const rim = own ? null : find(`.wheel .other.${at(pose).ring}`, pane)?.dataset.rim;
    const off = rim ? ` translate(0 ${rim - find(".wheel", pane).dataset.rim})` : "";
    find(".camera", pane)?.setAttribute("transform", `rotate(${view.a})${off}`);
    for (const figure of all(".wheel [data-i]", pane)) figure.classList.toggle("now", own && Number(figure.dataset.i) === i);
    for (const button of all(`[id^="strip-p${pose}"] button`)) {
      if (button.parentElement.parentElement.id === `strip-${key}` && Number(button.dataset.i) === i) button.setAttribute("aria-current", "true");
      else button.removeAttribute("aria-current");
    }
    return view;
  }

  function turnTo(to) {
    aim = to;
    angle = (at(first).views[nearest(first, to)] || nothing(to)).a;
    const view = show(find("#pane-0"), first);
    if (second !== null) show(find("#pane-1"), second);
    slider.max = Math.max(at(first).views.length - 1, 0);
    slider.value = nearest(first, angle);
    slider.setAttribute("aria-valuetext", `${Math.round(view.a) % 360} degrees, ${view.side}, ${view.s}`);
    shown.textContent = `${Math.round(view.a) % 360}°`;
    for (const choice of choices) choice.checked = choice.value === at(first).ring;
  }

  function changeTo(other) {
    ring = other;
    turnTo(aim);
  }

  // The ring so many above the one that is shown, the outermost at most; whether there is one.
  function climb(by, from = ringsOf[first].indexOf(at(first))) {
    const to = ringsOf[first][Math.min(Math.max(from - by, 0), ringsOf[first].length - 1)];
    if (to === at(first)) return false;
    changeTo(to.ring);
    return true;
  }

  function step(by) {
    const views = at(first).views, i = nearest(first, angle);
    if (views.length) turnTo(views[(i + by + views.length) % views.length].a);
  }

  function fill(pane, pose) {
    pane.dataset.pose = pose;
    const from = find(`#pose-${pose}`);
    find(".title", pane).replaceChildren(...from.content.cloneNode(true).querySelector(".head").childNodes);
    find(".turntable", pane).replaceChildren(from.content.cloneNode(true).querySelector("svg.wheel"));
    find(".floor", pane).setAttribute("d", "M-3000 1000H3000");
    listen(find(".wheel", pane));
  }

  function arrange() {
    if (pick) first = Number(pick.value);
    second = compare && compare.value !== "" ? Number(compare.value) : null;
    for (const choice of choices) choice.disabled = !ringsOf[first].some((one) => one.ring === choice.value);
    fill(find("#pane-0"), first);
    find("#pane-1").classList.toggle("hidden", second === null);
    find(".panes").classList.toggle("two", second !== null);
    if (second !== null) fill(find("#pane-1"), second);
    // One scale on both stages: the box holds the wider and the taller of the two.
    const sizes = [first, second].filter((pose) => pose !== null).map((pose) => find(`#pose-${pose}`).dataset);
    const half = Math.max(...sizes.map((size) => size.half)), tall = Math.max(...sizes.map((size) => size.tall));
    for (const stage of all(".stage")) stage.setAttribute("viewBox", `${-half} ${970 - tall} ${2 * half} ${tall + 60}`);
    for (const part of all("[data-of]")) {
      part.classList.toggle("hidden", ![first, second].includes(Number(part.dataset.of)));
    }
    turnTo(angle);
    for (const hear of arranged) hear();
  }

  // Hover, tap or drag on the wheel: the camera goes where the pointer is, and to the ring whose band is tapped.
  function listen(wheel) {
    const go = (event) => {
      const box = wheel.getBoundingClientRect();
      const x = event.clientX - box.left - box.width / 2, y = event.clientY - box.top - box.height / 2;
      if (Math.hypot(x, y) > 12) turnTo(((Math.atan2(-x, y) * 180) / Math.PI + 360) % 360);
    };
    wheel.addEventListener("pointermove", go);
    wheel.addEventListener("pointerdown", (event) => {
      const band = event.target.closest(".other, .ring");
      const chosen = band && ringsOf[first].find((one) => (one.own ? band.matches(".ring") : band.matches(`.${one.ring}`)));
      if (chosen) ring = chosen.ring;
      go(event);
    });
  }

  // Drag the figure: its near side follows the hand, and so the camera rises as it is drawn down.
  for (const stage of all(".stage")) {
    let from = null, high = 0, start = 0, began = 0;
    if (choices.length) stage.style.touchAction = "none";
    stage.addEventListener("pointerdown", (event) => {
      [from, high] = [event.clientX, event.clientY];
      began = ringsOf[first].indexOf(at(first));
      start = angle;
      stage.setPointerCapture(event.pointerId);
    });
    stage.addEventListener("pointermove", (event) => {
      if (from === null) return;
      turnTo((start + ((event.clientX - from) / stage.clientWidth) * 270 + 720) % 360);
      climb(Math.trunc((event.clientY - high) / (0.2 * stage.clientHeight)), began);
    });
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
      stage.addEventListener(end, () => { from = null; });
    }
  }

  const inSight = () => {
    const { top, bottom } = find(".stage").getBoundingClientRect();
    return top < innerHeight && bottom > 0;
  };

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.target.matches("input, select, textarea, [role=slider]")) return;
    if (!awake()) return;
    const moves = { ArrowRight: 1, ArrowLeft: -1 };
    if (event.key in moves) step(moves[event.key]);
    else if (event.key === "Home") turnTo(0);
    else if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      // Where no ring is left, or no figure in sight, the page moves as on any other.
      if (!inSight() || !climb(event.key === "ArrowUp" ? 1 : -1)) return;
    } else return;
    event.preventDefault();
  }, { signal: gone.signal });
  slider.addEventListener("input", () => turnTo((at(first).views[Number(slider.value)] || nothing(angle)).a));
  for (const choice of choices) choice.addEventListener("change", () => changeTo(choice.value));
  for (const box of all(".layers input")) box.addEventListener("change", () => turnTo(angle));
  for (const button of all("[data-to]")) {
    button.addEventListener("click", () => {
      if (button.dataset.at) ring = button.dataset.at;
      turnTo(Number(button.dataset.to));
    });
  }
  for (const chooser of [pick, compare]) chooser?.addEventListener("change", arrange);
  find("#look")?.addEventListener("click", () => {
    const root = document.documentElement;
    const dark = root.dataset.look ? root.dataset.look === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.look = dark ? "light" : "dark";
  }, { signal: gone.signal });
  if (pick) pick.value = first;
  arrange();
  return {
    turnTo,
    shown: () => [first, second],
    show: (pose) => { if (pick) pick.value = pose; first = pose; arrange(); },
    hear: (call) => arranged.push(call),
    end: () => gone.abort(),
  };
}
if (document.getElementById("data")) turnFigures();
