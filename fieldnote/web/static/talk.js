// The microphone: what is said is kept on this device as it is spoken, sent at each pause, and forgotten here only when
// the server has confirmed it with the same hash.
import * as here from "/static/kept-here.js";
import { watch } from "/static/hearing.js";

const section = document.querySelector(".talk");
const button = document.querySelector("#talk");
const label = document.querySelector("#talk-label");
const why = document.querySelector("#talk-why");
const held = document.querySelector("#held");
const heldText = document.querySelector("#held-text");
const status = document.querySelector("#status");
const level = document.querySelector("#talk .level");
const PIECE_S = 2;
const PAUSE_S = 1.5; // longer than the silence at which the recogniser ends an utterance, so that none is cut
const SHORTEST_S = 3; // what is shorter goes with what follows
let session = null;
let sending = false;
let askedAgain = false;

const tone = (context, pitch) => {
  const note = context.createOscillator();
  const gain = context.createGain();
  note.frequency.value = pitch;
  gain.gain.setValueAtTime(0.12, context.currentTime);
  gain.gain.exponentialRampToValueAtTime(0.001, context.currentTime + 0.18);
  note.connect(gain).connect(context.destination);
  note.start();
  note.stop(context.currentTime + 0.2);
};

async function start() {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { channelCount: 1, echoCancellation: false, noiseSuppression: false } });
  const context = new AudioContext();
  await context.audioWorklet.addModule("/static/pcm-worklet.js");
  const take = newTake(context.sampleRate);
  await here.begin(take);
  session = { stream, context, take, n: 0, blocks: [], length: 0, kept: Promise.resolve(), lost: null, loud: 0, floor: 0.003, spoke: false, quiet_s: 0 };
  const node = new AudioWorkletNode(context, "pcm");
  node.port.onmessage = ({ data }) => {
    if (!session) return;
    session.blocks.push(data);
    session.length += data.length;
    let peak = 0;
    let power = 0;
    for (const sample of data) {
      peak = Math.max(peak, Math.abs(sample));
      power += sample * sample;
    }
    listenForPause(session, Math.sqrt(power / data.length), data.length / context.sampleRate);
    level.style.setProperty("transform", `scaleX(${Math.min(1, peak * 1.6).toFixed(3)})`);
    if (session.length >= PIECE_S * context.sampleRate) keepPiece(session);
  };
  context.createMediaStreamSource(stream).connect(node);
  tone(context, 660);
  navigator.vibrate?.(40);
  button.setAttribute("aria-pressed", "true");
  label.textContent = "Listening. Touch to stop";
  status.textContent = "Listening.";
}

const newTake = (rate) => ({ id: crypto.randomUUID(), job: section.dataset.job, rate, at: new Date().toISOString(), done: false, seconds: 0 });

// Speech stands out from the noise of the shop, which is followed: down at once, up within some seconds.
function listenForPause(of, loudness, seconds) {
  of.loud += (loudness - of.loud) * Math.min(1, seconds / 0.05);
  of.floor = of.loud < of.floor ? of.loud : of.floor + (of.loud - of.floor) * Math.min(1, seconds / 8);
  if (of.loud > Math.max(0.006, 2.5 * of.floor)) {
    of.spoke = true;
    of.quiet_s = 0;
    return;
  }
  of.quiet_s += seconds;
  if (of.spoke && of.quiet_s >= PAUSE_S && of.take.seconds + of.length / of.take.rate >= SHORTEST_S) handIn(of);
}

// What was said up to the pause is a recording of its own and is sent, while listening goes on.
function handIn(of) {
  const ended = of.take;
  keepPiece(of);
  of.take = newTake(ended.rate);
  of.n = 0;
  of.spoke = false;
  of.kept = of.kept.then(() => here.begin({ ...ended, done: true }));
  of.kept.then(sendAll);
}

function keepPiece(of) {
  const samples = new Int16Array(of.length);
  let at = 0;
  for (const block of of.blocks) for (const sample of block) samples[at++] = Math.max(-32768, Math.min(32767, Math.round(sample * 32767)));
  const take = of.take;
  take.seconds += samples.length / take.rate;
  const n = of.n++;
  of.blocks = [];
  of.length = 0;
  const now = { ...take };
  of.kept = of.kept.then(() => here.add(take.id, n, samples)).then(() => here.begin(now)).catch((fault) => {
    of.lost = fault;
    why.textContent = "This device has no room to keep sound. Stop, and write it instead.";
  });
}

async function finish() {
  const done = session;
  session = null;
  if (done.length) keepPiece(done);
  done.stream.getTracks().forEach((track) => track.stop());
  tone(done.context, 440);
  navigator.vibrate?.([40, 60, 40]);
  setTimeout(() => done.context.close(), 400);
  button.setAttribute("aria-pressed", "false");
  label.textContent = "Talk";
  level.style.setProperty("transform", "scaleX(0)");
  await done.kept;
  await here.begin({ ...done.take, done: true });
  await sendAll();
}

const token = () => document.querySelector("input[name=token]").value;

async function freshToken() {
  const page = await fetch(location.pathname, { headers: { accept: "text/html" } });
  const fresh = new DOMParser().parseFromString(await page.text(), "text/html").querySelector("input[name=token]").value;
  for (const field of document.querySelectorAll("input[name=token]")) field.value = fresh;
}

async function send(take) {
  const parts = await here.pieces(take.id);
  if (!parts.length) return here.forget(take.id);
  const file = here.wav(parts, take.rate);
  const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  const hash = [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  for (const again of [true, false]) {
    const form = new FormData();
    form.append("recording", file, `dictation ${take.at.slice(0, 19).replaceAll(":", "-")}.wav`);
    const answer = await fetch(`/jobs/${take.job}/sound`, { method: "POST", body: form, headers: { accept: "application/json", "x-fieldnote-token": token() } });
    if (answer.status === 403 && again) { await freshToken(); continue; }
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.error?.what ?? `status ${answer.status}`);
    if (told.kept !== hash) throw new Error("the server keeps something else than was sent");
    return here.forget(take.id);
  }
}

async function sendAll() {
  if (sending) {
    askedAgain = true;
    return;
  }
  sending = true;
  askedAgain = false;
  let fault = "";
  try {
    for (const take of await here.takes()) {
      if (session?.take.id === take.id) continue;
      try { await send(take); } catch (error) { fault = error.message; break; }
      status.textContent = "Kept by the server.";
      watch();
    }
  } finally { sending = false; }
  await show(fault);
  if (askedAgain && !fault) await sendAll();
}

async function show(fault = "") {
  const waiting = (await here.takes()).filter((take) => take.id !== session?.take.id);
  const seconds = Math.round(waiting.reduce((sum, take) => sum + take.seconds, 0));
  held.hidden = waiting.length === 0;
  if (waiting.length) heldText.textContent = `Still on this phone: ${waiting.length} ${waiting.length === 1 ? "recording" : "recordings"}, ${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}${fault ? ` (${fault})` : ""}`;
}

button.addEventListener("click", async () => {
  button.disabled = true;
  try { await (session ? finish() : start()); } catch (error) {
    why.textContent = error.name === "NotAllowedError" ? "The browser was not allowed to use the microphone." : `No microphone: ${error.message}`;
  } finally { button.disabled = false; }
});
document.querySelector("#held-send").addEventListener("click", sendAll);
window.addEventListener("online", sendAll);
window.addEventListener("beforeunload", (event) => { if (session) event.preventDefault(); });
setInterval(() => { if (!held.hidden && !session) sendAll(); }, 20000);

if (navigator.mediaDevices && window.AudioWorkletNode) button.hidden = false;
else why.textContent = "Talking needs this page on this machine, or under https. A recording can be sent below.";
sendAll();
