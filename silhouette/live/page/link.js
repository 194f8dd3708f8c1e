// The one socket to the program. It comes back by itself when it breaks, and says so at once both times.

import { Line } from "./line.js";

const FIRST_WAIT = 300, LONGEST_WAIT = 3000;

export class Link {
  // heard(message) gets what the program says; changed(state) gets "open", "lost" or "shut out".
  constructor(heard, changed) {
    this.heard = heard;
    this.changed = changed;
    this.wait = FIRST_WAIT;
    this.plain = false;           // whether plain requests are used, as the browser opens no socket
    this.opened = false;
    this.open();
  }

  get ready() { return this.socket.readyState === WebSocket.OPEN; }

  open() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = this.socket = this.plain ? new Line() : new WebSocket(`${scheme}//${location.host}/api/stage`);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => { this.wait = FIRST_WAIT; this.opened = true; this.changed("open"); };
    socket.onmessage = (event) => this.heard(JSON.parse(event.data));
    socket.onclose = () => this.lost();
  }

  async lost() {
    const answers = await status();
    this.changed(answers === 403 ? "shut out" : "lost");
    if (answers === 200 && !this.opened && location.protocol === "https:") this.plain = true;
    setTimeout(() => this.open(), this.wait);
    this.wait = Math.min(2 * this.wait, LONGEST_WAIT);
  }

  // False where nobody is there to take it.
  send(what) {
    if (!this.ready) return false;
    this.socket.send(what);
    return true;
  }

  order(what) { return this.send(JSON.stringify(what)); }
}

// What the program answers at all: 403 where it does not know this browser any more, for it was started anew; 0 where it
// does not answer.
async function status() {
  try {
    return (await fetch("/api/poses")).status;
  } catch {
    return 0;
  }
}

// What the program answers to a request: {ok, status, data, words}; words say what went wrong.
export async function ask(method, path, body) {
  try {
    const json = body === undefined || body instanceof Blob ? body : JSON.stringify(body);
    const head = body === undefined ? {} : { "Content-Type": body instanceof Blob ? body.type : "application/json" };
    const answer = await fetch(path, { method, body: json, headers: head });
    const text = await answer.text();
    let data = null;
    try { data = JSON.parse(text); } catch { /* a sentence */ }
    const words = answer.ok ? "" : (data && (data.error || data.problem || data.what)) || text.slice(0, 300);
    return { ok: answer.ok, status: answer.status, data, words: String(words) };
  } catch {
    return { ok: false, status: 0, data: null, words: "The program does not answer." };
  }
}
