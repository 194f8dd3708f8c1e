// The stage by plain requests, used like a WebSocket: for browsers that refuse one to a certificate that nobody vouches for.

const MOST_WAITING = 4;

export class Line {
  constructor() {
    this.readyState = 0;
    this.waiting = [];
    this.sending = false;
    this.onopen = this.onmessage = this.onclose = () => {};
    this.begin();
  }

  async begin() {
    try {
      const answer = await fetch("/api/stage/line", { method: "POST" });
      if (!answer.ok) return this.end();
      this.address = `/api/stage/line/${(await answer.json()).line}`;
      this.readyState = 1;
      this.onopen();
      return await this.listen();
    } catch {
      return this.end();
    }
  }

  async listen() {
    while (this.readyState === 1) {
      const answer = await fetch(this.address);
      if (!answer.ok) break;
      for (const message of await answer.json()) this.onmessage({ data: JSON.stringify(message) });
    }
    this.end();
  }

  // Orders all go; of frames that wait the oldest are dropped, for the newest counts.
  send(what) {
    const frames = this.waiting.filter((one) => typeof one !== "string");
    if (typeof what !== "string" && frames.length >= MOST_WAITING) this.waiting.splice(this.waiting.indexOf(frames[0]), 1);
    this.waiting.push(what);
    if (!this.sending) this.flow();
  }

  async flow() {
    this.sending = true;
    while (this.waiting.length && this.readyState === 1) {
      const what = this.waiting.shift(), type = typeof what === "string" ? "application/json" : "application/octet-stream";
      try {
        const answer = await fetch(this.address, { method: "POST", headers: { "Content-Type": type }, body: what });
        if (answer.status === 404) this.end();
      } catch {
        this.end();
      }
    }
    this.sending = false;
  }

  close() {
    if (this.readyState === 1) fetch(this.address, { method: "DELETE", keepalive: true }).catch(() => {});
    this.end();
  }

  end() {
    if (this.readyState === 3) return;
    this.readyState = 3;
    this.onclose();
  }
}
