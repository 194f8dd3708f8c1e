// A camera of this device: small frames go to the program, the last few are kept at full size until they are asked for.
import { ask } from "/page/link.js";

const SMALL = 640, SMALL_QUALITY = 0.75, FULL_QUALITY = 0.95;
const GAP_MS = 60;         // between two frames sent: 12 to 15 a second of a camera that gives 24 to 60
const KEPT = 6, UNANSWERED = 3;
const GIVEN_UP_MS = 3000;  // a frame without an answer for so long is not waited for
const HEAD_BYTES = 20;     // as messages.HEAD: number, seconds, full width, full height
const TRIES = 4;
const BEGIN = Date.UTC(2026, 0, 1);  // numbers and seconds grow from here, over a reload of the page too

export class Camera {
  // picture: the element that plays the camera's picture. send(buffer): hands a frame on, false where it cannot.
  // ended(): the camera was taken away.
  constructor(picture, send, ended) {
    this.picture = picture;
    this.send = send;
    this.ended = ended;
    this.kept = new Map();        // number -> ImageBitmap, oldest first
    this.unanswered = new Map();  // number -> {captured, sent}, milliseconds of performance.now()
    this.asked = new Set();
    this.small = canvasOf(1, 1);
    this.sent = 0;
    this.last = -Infinity;
    this.busy = false;
    this.stream = null;
    this.number = Math.floor((Date.now() - BEGIN) / 50) % 2 ** 32;  // twenty a second are never sent
  }

  get running() { return this.stream !== null; }

  // The cameras of this device by id and name; names are known only once a camera was allowed.
  static async list() {
    if (!navigator.mediaDevices) return [];
    const all = await navigator.mediaDevices.enumerateDevices();
    return all.filter((one) => one.kind === CAMERA_KIND)
      .map((one, i) => ({ id: one.deviceId, name: one.label || `Camera ${i + 1}` }));
  }

  // which: a camera's id, "first" or "rear". Throws what getUserMedia throws.
  async start(which) {
    this.stop();
    if (!navigator.mediaDevices) throw new DOMException("", "NotFoundError");
    const size = { width: { ideal: 7680 }, height: { ideal: 4320 } };
    const one = which === "rear" ? { facingMode: { ideal: "environment" } }
      : which === "first" || !which ? {} : { deviceId: { exact: which } };
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia(
        { audio: false, video: { ...one, ...size, frameRate: { min: 12, ideal: 30 } } });
    } catch (error) {
      if (error.name !== "OverconstrainedError") throw error;
      stream = await navigator.mediaDevices.getUserMedia({ audio: false, video: { ...one, ...size } });
    }
    this.stream = stream;
    const [track] = stream.getVideoTracks();
    track.addEventListener("ended", () => { if (this.stream === stream) { this.stop(); this.ended(); } });
    this.picture.srcObject = stream;
    await this.picture.play();
    this.next(stream);
    return { id: track.getSettings().deviceId || "", name: track.label };
  }

  stop() {
    if (this.stream) for (const track of this.stream.getTracks()) track.stop();
    this.stream = null;
    this.picture.srcObject = null;
    for (const bitmap of this.kept.values()) bitmap.close();
    this.kept.clear();
    this.unanswered.clear();
  }

  next(stream) {
    if (this.stream !== stream) return;
    const go = (now, about) => { this.look(stream, about); this.next(stream); };
    if (this.picture.requestVideoFrameCallback) this.picture.requestVideoFrameCallback(go);
    else setTimeout(() => go(performance.now(), {}), GAP_MS + 7);
  }

  async look(stream, about) {
    const now = performance.now();
    for (const [number, one] of this.unanswered) if (now - one.sent > GIVEN_UP_MS) this.unanswered.delete(number);
    if (this.busy || now - this.last < GAP_MS || this.unanswered.size >= UNANSWERED) return;
    if (!this.picture.videoWidth) return;
    this.busy = true;
    this.last = now;
    const captured = about.captureTime > now - 1000 && about.captureTime <= now ? about.captureTime : now;
    try {
      const bitmap = await createImageBitmap(this.picture);
      const data = await this.framed(bitmap, captured);
      if (this.stream !== stream || !this.send(data)) return bitmap.close();
      this.keep(this.number, bitmap);
      this.unanswered.set(this.number, { captured, sent: performance.now() });
      this.number = (this.number + 1) % 2 ** 32;
      this.sent += 1;
    } catch (error) {
      if (error.name !== "InvalidStateError") throw error;  // the camera was just changed
    } finally {
      this.busy = false;
    }
  }

  // The frame as it goes over the socket.
  async framed(bitmap, captured) {
    const scale = Math.min(1, SMALL / Math.max(bitmap.width, bitmap.height));
    const jpeg = await jpegOf(this.small, bitmap, scale, SMALL_QUALITY);
    const data = new Uint8Array(HEAD_BYTES + jpeg.size), head = new DataView(data.buffer);
    head.setUint32(0, this.number, true);
    head.setFloat64(4, (performance.timeOrigin - BEGIN + captured) / 1000, true);
    head.setUint32(12, bitmap.width, true);
    head.setUint32(16, bitmap.height, true);
    data.set(new Uint8Array(await jpeg.arrayBuffer()), HEAD_BYTES);
    return data.buffer;
  }

  keep(number, bitmap) {
    this.kept.set(number, bitmap);
    for (const [old, one] of this.kept) {
      if (this.kept.size <= KEPT) break;
      one.close();
      this.kept.delete(old);
    }
  }

  // When the frame was captured (performance.now()); null for one of another camera.
  answered(number) {
    const one = this.unanswered.get(number);
    this.unanswered.delete(number);
    return one ? one.captured : null;
  }

  // Nothing sent before will be answered: the connection broke.
  forget() { this.unanswered.clear(); }

  // Sends this very frame at full size. Gives "" once it is safely there, else what went wrong.
  async post(number) {
    const bitmap = this.kept.get(number);
    if (this.asked.has(number)) return "";  // it is on its way
    if (!bitmap) return "It is not at hand any more.";
    this.asked.add(number);
    this.kept.delete(number);
    const jpeg = await jpegOf(canvasOf(1, 1), bitmap, 1, FULL_QUALITY);
    bitmap.close();
    let words = "";
    for (let tried = 0; tried < TRIES; tried++) {
      if (tried) await new Promise((resolve) => setTimeout(resolve, 250 * 2 ** tried));
      const answer = await ask("POST", `/api/stage/stills/${number}`, jpeg);
      if (answer.ok) return "";
      words = answer.words;
      if (answer.status >= 400 && answer.status < 500 && answer.status !== 429) break;
    }
    return words || "The picture did not arrive.";
  }
}

const CAMERA_KIND = "videoinput";

function canvasOf(width, height) {
  if (window.OffscreenCanvas) return new OffscreenCanvas(width, height);
  return Object.assign(document.createElement("canvas"), { width, height });
}

async function jpegOf(canvas, bitmap, scale, quality) {
  const width = Math.round(bitmap.width * scale), height = Math.round(bitmap.height * scale);
  if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
  const brush = canvas.getContext("2d", { alpha: false });
  brush.imageSmoothingQuality = "medium";
  brush.drawImage(bitmap, 0, 0, width, height);
  if (canvas.convertToBlob) return canvas.convertToBlob({ type: "image/jpeg", quality });
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
}
