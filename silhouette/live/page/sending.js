// One file on its way to the program: in pieces, held and gone on with, and again by itself when the connection breaks.

import { ask } from "./link.js";

const PIECE = 4 * 1024 * 1024, START = 65536, FIRST_WAIT = 500, LONGEST_WAIT = 8000;

export class Sending {
  // told(have, size, state) is called as it goes; state is "on", "held" or "broken".
  constructor(file, told) {
    this.file = file;
    this.told = told;
    this.have = 0;
    this.held = false;
    this.stopped = false;
    this.wake = () => {};
    this.back = () => this.wake();
    window.addEventListener("online", this.back);
  }

  hold(yes) { this.held = yes; this.wake(); }

  stop() { this.stopped = true; this.wake(); }

  // {done, pose, name}, or {words} where the program refuses it, or {stopped: true}.
  async send({ name, pose, as }) {
    try {
      const what = { name: as, size: this.file.size, pose, new: name, start: await begins(this.file) };
      let wait = FIRST_WAIT, address = "";
      for (;;) {
        if (this.stopped) return this.end(address);
        if (this.held) {
          this.say("held");
          await this.pause();
          continue;
        }
        const answer = await this.next(address, what);
        if (answer.ok) {
          this.have = answer.data.have;
          if (answer.data.done) return answer.data;
          address ||= `/api/uploads/${answer.data.upload}`;
          wait = FIRST_WAIT;
          this.say("on");
          continue;
        }
        if (answer.status === 404 && address) {         // the program was started anew
          address = "";
          continue;
        }
        if (answer.status && ![408, 409, 429, 503].includes(answer.status)) return { words: answer.words, status: answer.status };
        this.say("broken");
        let there = { ok: false };
        do {                                            // until the program has let go of the connection that broke
          await this.pause(wait);
          wait = Math.min(2 * wait, LONGEST_WAIT);
          if (address) there = await ask("GET", address);
        } while (there.ok && there.data.busy && !this.stopped && !this.held);
        if (there.ok && there.data.done) return there.data;
        if (there.ok) this.have = there.data.have;
      }
    } catch {
      return { words: `${as}: this phone cannot read it any more. Choose it again.`, status: 0 };
    } finally {
      window.removeEventListener("online", this.back);
    }
  }

  next(address, what) {
    if (!address) return ask("POST", "/api/uploads", what);
    const piece = this.file.slice(this.have, this.have + PIECE, "application/octet-stream");
    return ask("PATCH", `${address}?from=${this.have}`, piece);
  }

  async end(address) {
    if (address) await ask("DELETE", address);
    return { stopped: true };
  }

  say(state) { this.told(this.have, this.file.size, state); }

  // Until something happens, or so many milliseconds are over.
  pause(ms) {
    return new Promise((done) => {
      const timer = ms ? setTimeout(done, ms) : 0;
      this.wake = () => { clearTimeout(timer); done(); };
    });
  }
}

// SHA-256 of how a file begins: by it the program knows the file again after a break.
async function begins(file) {
  const bytes = await file.slice(0, START).arrayBuffer();
  if (!crypto.subtle) return "";
  return [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
}
