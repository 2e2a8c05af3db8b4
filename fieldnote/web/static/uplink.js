// One take on its way to the server: frames go out as they come and again from where the server's disk ends, until all
// of them are confirmed. The line may break at any moment and for any time.
import * as here from "/static/kept-here.js";
import { freshToken, post, token } from "/static/asking.js";

const FRAME = 4000;
const WAITS_S = [0.5, 1, 2, 4, 8, 15];
const SILENT_S = 6; // so long without a confirmation while frames are out: the line is dead, whatever the system thinks
const OUT_OF_DATE = 4401;
const MOST_BUFFERED = 1 << 20;

const table = Uint32Array.from({ length: 256 }, (_, n) => {
  for (let bit = 0; bit < 8; bit++) n = n & 1 ? (n >>> 1) ^ 0xedb88320 : n >>> 1;
  return n >>> 0;
});

// CRC-32 as in RFC 1952.
export function crc32(bytes) {
  let crc = 0xffffffff;
  for (const byte of bytes) crc = table[(crc ^ byte) & 255] ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

function packed(n, { samples, own }) {
  const sound = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
  const message = new Uint8Array(12 + sound.length);
  const head = new DataView(message.buffer);
  head.setUint32(0, n, true);
  head.setUint32(4, crc32(sound), true);
  head.setUint16(8, own ? 1 : 0, true);
  head.setUint16(10, samples.length, true);
  message.set(sound, 12);
  return message;
}

export class Uplink {
  // `told` is called with what the server tells, `changed` when more or less of the take is confirmed.
  constructor(take, { told = () => {}, changed = () => {} } = {}) {
    this.take = take;
    this.told = told;
    this.changed = changed;
    this.memory = new Map();
    this.socket = null;
    this.ready = false;
    this.finished = false;
    this.waits = 0;
    this.next = take.kept ?? 0;
    this.fault = "";
    this.over = new Promise((done) => { this.finish = done; });
    this.timer = setInterval(() => this.look(), 1000);
    this.confirmedAt = Date.now();
    addEventListener("online", this.retry);
    this.connect();
  }

  // A frame was recorded. It is in IndexedDB as well, or on its way there.
  push(n, frame) {
    this.memory.set(n, frame);
    this.pump();
  }

  ended() {
    this.pump();
  }

  get unconfirmed() {
    return this.finished ? 0 : Math.max(0, this.take.samples - (this.take.kept ?? 0) * FRAME) / 16000;
  }

  retry = () => {
    this.waits = 0;
    if (!this.socket && !this.finished) this.connect();
  };

  async connect() {
    clearTimeout(this.later);
    if (this.socket || this.finished) return;
    this.socket = {}; // taken: nobody else connects meanwhile
    try {
      if (!this.take.job) await this.openJob();
    } catch (fault) {
      this.socket = null;
      return this.comeBack(fault.message);
    }
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(`${scheme}//${location.host}/jobs/${this.take.job}/stream`);
    this.socket = socket;
    socket.onopen = () => {
      const age = Math.max(0, (Date.now() - Date.parse(this.take.at)) / 1000);
      socket.send(JSON.stringify({ take: this.take.id, age_s: age, token: token() }));
    };
    socket.onmessage = ({ data }) => this.heard(JSON.parse(data));
    socket.onclose = async ({ code }) => {
      if (this.socket !== socket) return;
      const ready = this.ready;
      this.socket = null;
      this.ready = false;
      if (this.finished) return this.end();
      if (code === OUT_OF_DATE) await freshToken().catch(() => {});
      this.comeBack(ready ? "" : await this.reason());
    };
  }

  // Browsers do not tell a page why a connection was refused: an ordinary request is answered in words.
  async reason() {
    try {
      const answer = await fetch(`/jobs/${this.take.job}/hearing`, { headers: { accept: "application/json" } });
      if (answer.redirected || answer.status === 401) return "the server asks for a sign-in: load this page again";
      if (!answer.ok) return (await answer.json()).error?.what ?? "";
    } catch { /* no answer at all: it is sent later */ }
    return this.fault;
  }

  comeBack(fault = this.fault) {
    this.fault = fault;
    this.changed(this);
    this.later = setTimeout(() => this.connect(), 1000 * WAITS_S[Math.min(this.waits++, WAITS_S.length - 1)]);
  }

  // A take that began without a job, while the server could not be asked for one.
  async openJob() {
    const form = new FormData();
    form.append("start", this.take.start);
    const { job } = await post("/start", form);
    this.take.job = job;
    await here.put(this.take);
    this.told({ opened: job });
  }

  async heard(message) {
    if ("have" in message) {
      this.next = message.have;
      this.ready = true;
      this.waits = 0;
      this.fault = "";
      this.confirmedAt = Date.now();
    }
    if ("kept" in message) await this.confirm(message.kept);
    if (message.done) {
      this.finished = true;
      this.memory.clear();
      await here.forget(this.take.id);
      this.changed(this);
    }
    if (message.fault) this.fault = message.fault;
    this.told(message);
    if (message.heard && this.finished) this.socket?.close?.();
    if ("have" in message) this.pump();
  }

  async confirm(kept) {
    this.confirmedAt = Date.now();
    for (const n of this.memory.keys()) if (n < kept) this.memory.delete(n);
    if (kept > (this.take.kept ?? 0)) {
      this.take.kept = kept;
      await here.confirm(this.take, kept);
    }
    this.changed(this);
  }

  async pump() {
    if (this.pumping) { this.again = true; return; }
    this.pumping = true;
    try {
      do {
        this.again = false;
        await this.sendOn();
      } while (this.again);
    } finally { this.pumping = false; }
  }

  async sendOn() {
    const socket = this.socket;
    while (this.ready && socket === this.socket && this.next < this.take.frames) {
      if (socket.bufferedAmount > MOST_BUFFERED) { await new Promise((done) => setTimeout(done, 50)); continue; }
      const n = this.next;
      const frame = this.memory.get(n) ?? (await here.frame(this.take.id, n));
      if (!this.ready || socket !== this.socket) return;
      if (!frame) return;
      if (n !== this.next) continue; // the server asked for another meanwhile
      socket.send(packed(n, frame));
      this.next = n + 1;
    }
    if (this.ready && this.take.done && this.next >= this.take.frames && !this.finished)
      socket.send(JSON.stringify({ end: true, samples: this.take.samples }));
  }

  // The system may hold a dead line open for minutes: no confirmation for some seconds, and another one is tried.
  look() {
    if (this.ready && this.unconfirmed > 1 && Date.now() - this.confirmedAt > SILENT_S * 1000) this.drop();
    if (this.unconfirmed > 1) this.changed(this);
  }

  drop() {
    const dead = this.socket;
    this.socket = null;
    this.ready = false;
    dead?.close?.();
    this.comeBack();
  }

  end() {
    clearInterval(this.timer);
    removeEventListener("online", this.retry);
    this.finish();
  }
}
