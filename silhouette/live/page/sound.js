// What the page says by ear: a tone for each kind of signal, and words from the system's own voices.

// Each kind has a shape of its own, so that nobody has to remember a pitch: how many, how long, rising or falling,
// clear or rough. A note: [starts at, lasts, from Hz, to Hz, voice].
const CLEAR = "triangle", ROUGH = "square";
export const KINDS = {
  "empty taken": { says: "the empty picture is kept", notes: [[0, .09, 1500, 1500, CLEAR], [.13, .09, 1500, 1500, CLEAR], [.26, .09, 1500, 1500, CLEAR], [.39, .5, 1000, 1000, CLEAR]] },
  ready: { says: "the turn may begin", notes: [[0, .16, 700, 700, CLEAR], [.3, .16, 700, 700, CLEAR], [.6, .7, 1050, 1050, CLEAR]] },
  taken: { says: "the stop is kept", notes: [[0, .45, 1320, 1320, CLEAR]] },
  "turn on": { says: "turn on to the next stop", notes: [[0, .4, 500, 1400, CLEAR], [.46, .4, 500, 1400, CLEAR]] },
  moved: { says: "you moved, hold still", notes: [[0, .14, 330, 330, ROUGH], [.22, .14, 330, 330, ROUGH]] },
  "out of frame": { says: "part of the figure is out of the frame", notes: [0, 1, 2].flatMap((i) => [[.36 * i, .16, 1100, 1100, ROUGH], [.36 * i + .18, .16, 620, 620, ROUGH]]) },
  "pose differs": { says: "the pose is not that of the stops before", notes: [[0, 1.1, 1300, 380, CLEAR]] },
  fits: { says: "the pose sits on the earlier outline", notes: [[0, .12, 880, 880, CLEAR], [.12, .12, 1109, 1109, CLEAR], [.24, .5, 1319, 1319, CLEAR]] },
  closed: { says: "the circle is closed", notes: [[0, .2, 660, 660, CLEAR], [.22, .2, 830, 830, CLEAR], [.44, .2, 990, 990, CLEAR], [.66, 1.2, 1320, 1320, CLEAR], [.66, 1.2, 990, 990, CLEAR], [.66, 1.2, 660, 660, CLEAR]] },
  rest: { says: "time for a break", notes: [[0, .55, 1050, 1050, CLEAR], [.6, .55, 840, 840, CLEAR], [1.2, 1, 630, 630, CLEAR]] },
  trouble: { says: "something is wrong, read the page", notes: [0, .3, .6].map((at) => [at, .2, 260, 200, ROUGH]) },
  count: { says: "the seconds of a countdown", notes: [[0, .06, 1000, 1000, CLEAR]] },
  "last seconds": { says: "the last three seconds", notes: [[0, .12, 1500, 1500, CLEAR]] },
};

export const lengthOf = (kind) => Math.max(...KINDS[kind].notes.map(([at, lasts]) => at + lasts));

// Puts the notes of a kind into an audio context, from the time `at` on; gives the time at which they end.
export function lay(context, into, kind, at) {
  for (const [starts, lasts, from, to, voice] of KINDS[kind].notes) {
    const tone = context.createOscillator(), swell = context.createGain();
    tone.type = voice;
    tone.frequency.setValueAtTime(from, at + starts);
    if (to !== from) tone.frequency.exponentialRampToValueAtTime(to, at + starts + lasts);
    const loud = voice === ROUGH ? .45 : .8;
    swell.gain.setValueAtTime(0, at + starts);
    swell.gain.linearRampToValueAtTime(loud, at + starts + .01);
    swell.gain.setValueAtTime(loud, at + starts + .6 * lasts);
    swell.gain.linearRampToValueAtTime(0, at + starts + lasts);
    tone.connect(swell).connect(into);
    tone.start(at + starts);
    tone.stop(at + starts + lasts + .02);
  }
  return at + lengthOf(kind);
}

const SETTINGS = "silhouette-sounds";

export class Sound {
  constructor() {
    this.on = true;
    this.volume = 1;
    this.voice = "";     // name of the voice that speaks; empty for none
    try { Object.assign(this, JSON.parse(localStorage.getItem(SETTINGS) || "{}")); } catch { /* as at first */ }
    this.context = null;
    this.until = 0;      // when the last tone ends, so that two do not sound at once
  }

  save() {
    const { on, volume, voice } = this;
    try { localStorage.setItem(SETTINGS, JSON.stringify({ on, volume, voice })); } catch { /* kept for this page only */ }
    if (this.master) this.master.gain.value = this.volume;
  }

  get locked() { return !this.context || this.context.state !== "running"; }

  // To be called in a tap or at a key: browsers let nothing sound before.
  async unlock() {
    if (!window.AudioContext) return;
    if (!this.context) {
      this.context = new AudioContext();
      this.master = this.context.createGain();
      this.master.gain.value = this.volume;
      const even = this.context.createDynamicsCompressor();  // three notes at once are no louder than one
      this.master.connect(even).connect(this.context.destination);
    }
    if (this.context.state === "suspended") await this.context.resume();
  }

  play(kind) {
    if (!this.on || this.locked || !KINDS[kind]) return false;
    const at = Math.max(this.context.currentTime + .01, this.until);
    if (at - this.context.currentTime > 4) return false;  // old news
    this.until = lay(this.context, this.master, kind, at) + .12;
    return true;
  }

  // The system's own voices; voices that ask a server are left out.
  static voices() {
    const all = window.speechSynthesis ? speechSynthesis.getVoices() : [];
    const own = all.filter((one) => one.localService);
    const english = own.filter((one) => one.lang.startsWith("en"));
    return english.length ? english : own;
  }

  speak(words) {
    const voice = this.on && this.voice && Sound.voices().find((one) => one.name === this.voice);
    if (!voice || !words) return false;
    const said = new SpeechSynthesisUtterance(words);
    said.voice = voice;
    said.volume = this.volume;
    if (speechSynthesis.pending) speechSynthesis.cancel();
    speechSynthesis.speak(said);
    return true;
  }
}
