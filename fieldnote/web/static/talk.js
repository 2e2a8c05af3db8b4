// The microphone in the bay: what is said is kept on this device as it is spoken, sent as it comes, understood while
// speaking goes on, and forgotten here only when the server has it on its disk.
import * as here from "/static/kept-here.js";
import * as answers from "/static/answers.js";
import { Uplink } from "/static/uplink.js";
import { refresh, watch } from "/static/hearing.js";

const section = document.querySelector(".talk");
const button = document.querySelector("#talk");
const label = document.querySelector("#talk-label");
const why = document.querySelector("#talk-why");
const level = document.querySelector("#talk .level");
const caption = document.querySelector("#caption");
const told = document.querySelector("#told");
const status = document.querySelector("#status");
const start = crypto.randomUUID();
const uplinks = new Map();
let session = null;
let refreshing = null;
let changing = false;
let newest = "";

// ---- recording ----

async function begin() {
  answers.wake();
  const audio = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
  const stream = await navigator.mediaDevices.getUserMedia({ audio });
  const context = new AudioContext();
  await context.audioWorklet.addModule("/static/pcm-worklet.js");
  const take = { id: crypto.randomUUID(), job: section.dataset.job, start, at: new Date().toISOString(), frames: 0, samples: 0, done: false, kept: 0 };
  await here.put(take);
  let unlock;
  const held = new Promise((done) => { unlock = done; });
  navigator.locks?.request(`take ${take.id}`, () => held); // tells other pages that this take is being recorded
  const node = new AudioWorkletNode(context, "pcm");
  session = { unlock, stream, context, node, take, waiting: [], writing: null, uplink: link(take) };
  node.port.onmessage = ({ data }) => (data.over ? session?.over?.() : frame(session, data.samples));
  context.createMediaStreamSource(stream).connect(node);
  stream.getTracks()[0].addEventListener("ended", () => { if (session?.take === take) toggle(); });
  context.onstatechange = () => { if (session?.take === take && context.state !== "running") paused(); };
  stayOn(session);
  answers.tone("listening");
  button.setAttribute("aria-pressed", "true");
  label.textContent = "Listening. Touch to stop";
  caption.textContent = "";
  status.textContent = "Listening.";
}

// The screen stays on while hands are busy. The system takes this back whenever the page goes out of sight.
async function stayOn(of) {
  try {
    const lock = await navigator.wakeLock?.request("screen");
    if (session === of) of.lock = lock;
    else lock?.release();
  } catch { /* the battery is low, or the system does not have it: the person keeps the screen on */ }
}

// Another app (the camera, a call) has the microphone: what was said until then is kept.
function paused() {
  label.textContent = "Paused by the phone. Come back to go on";
  status.textContent = "The phone has paused the microphone.";
  answers.tone("warning");
}

document.addEventListener("visibilitychange", async () => {
  if (document.visibilityState !== "visible" || !session) return;
  stayOn(session);
  await session.context.resume().catch(() => {});
  label.textContent = "Listening. Touch to stop";
});

function frame(of, samples) {
  if (!of) return;
  const { take } = of;
  const n = take.frames++;
  take.samples += samples.length;
  const made = { n, samples, own: answers.speaking() };
  let peak = 0;
  for (const sample of samples) peak = Math.max(peak, Math.abs(sample));
  level.style.setProperty("transform", `scaleX(${Math.min(1, (peak / 32768) * 1.6).toFixed(3)})`);
  of.waiting.push(made);
  write(of);
  of.uplink.push(n, made);
}

// Everything that waits goes into one transaction: a slow store falls behind in writes, never in sound.
function write(of) {
  if (of.writing) return;
  of.writing = (async () => {
    while (of.waiting.length) {
      const some = of.waiting.splice(0);
      try { await here.add(of.take, some); } catch {
        why.textContent = "This phone has no room to keep sound. Stay connected, or stop and write it instead.";
      }
    }
    of.writing = null;
  })();
}

async function finish() {
  const of = session;
  await new Promise((done) => {
    of.over = done;
    of.node.port.postMessage("finish");
    setTimeout(done, 500);
  });
  session = null;
  of.stream.getTracks().forEach((track) => track.stop());
  of.lock?.release().catch(() => {});
  of.unlock();
  of.context.close();
  answers.tone("stopped");
  button.setAttribute("aria-pressed", "false");
  label.textContent = "Talk";
  level.style.setProperty("transform", "scaleX(0)");
  status.textContent = "Stopped.";
  await of.writing;
  if (!of.take.frames) {
    of.uplink.finished = true;
    of.uplink.socket?.close?.();
    await here.forget(of.take.id);
    return show();
  }
  of.take.done = true;
  await here.put(of.take);
  of.uplink.ended();
}

// ---- sending ----

function link(take) {
  const made = new Uplink(take, { told: (message) => hear(take, message), changed: show });
  uplinks.set(take.id, made);
  made.over.then(() => { uplinks.delete(take.id); show(); });
  return made;
}

// What an earlier page left on this phone: sent one after another.
async function sendLeft() {
  const recording = await here.recording();
  for (const take of await here.takes()) {
    if (uplinks.has(take.id) || recording.has(take.id)) continue;
    if (!take.done) {
      take.done = true; // the page was closed while it recorded: what is here is all there is
      await here.put(take);
    }
    if (!take.frames) await here.forget(take.id);
    else link(take);
  }
  show();
}

async function show() {
  const seconds = [...uplinks.values()].reduce((sum, one) => sum + one.unconfirmed, 0);
  const photos = (await here.photos()).length;
  const dead = [...uplinks.values()].some((one) => !one.ready && !one.finished && one.waits > 0);
  const held = document.querySelector("#held");
  const parts = [];
  if (seconds > 3 || (dead && seconds > 0)) parts.push(`${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")} of sound`);
  if (photos) parts.push(`${photos} ${photos === 1 ? "photo" : "photos"}`);
  const text = parts.length ? `Still on this phone: ${parts.join(", ")}` : "";
  const fault = [...uplinks.values()].map((one) => one.fault).find(Boolean) ?? "";
  const shown = document.querySelector("#held-text");
  if (held.hidden !== !text) status.textContent = text ? "No answer from the server. It is kept on this phone." : "The server has everything.";
  held.hidden = !text;
  if (shown.textContent !== text) shown.textContent = text;
  document.querySelector("#held-why").textContent = fault ? `(${fault})` : "It is sent by itself when the server answers.";
}

// ---- what the server tells ----

function hear(take, message) {
  if (message.opened) moveIn(message.opened);
  if (take.job !== section.dataset.job) return;
  if ("caption" in message) caption.textContent = message.caption;
  if ("said" in message) understood(message);
  if (message.answer) large(message.answer, "answer");
  if (message.tone) answers.tone(message.tone);
  if (message.say) answers.say(message.say);
  if (message.notice) notice(message.notice, message.warning);
  if (message.fault) notice(`${message.fault}. ${message.do ?? ""}`, true);
  if ("mode" in message) away(message.mode);
  if ("clock" in message) clock(message.clock);
  if (message.named) rename(message.named);
  if (message.heard) { caption.textContent = ""; soon(); watch(); }
}

// A job that this page has opened gets its address, without loading anything.
function moveIn(job) {
  if (section.dataset.job) return;
  section.dataset.job = job;
  history.replaceState(null, "", `/jobs/${job}/bay`);
  document.querySelector("[data-hearing]").dataset.hearing = `/jobs/${job}/hearing`;
  const photo = document.querySelector("#take-photo");
  photo.href = `/jobs/${job}/photos`;
  photo.hidden = false;
  soon();
}

function rename(name) {
  document.querySelector("h1").textContent = name;
  document.title = `${name} in the bay · fieldnote`;
}

function understood({ said, lines, left, command }) {
  caption.textContent = "";
  if (lines.length) {
    told.replaceChildren(...lines.slice(-3).flatMap(rows));
    const first = lines[lines.length - 1];
    newest = lines.findLast((line) => !line.fact)?.id ?? newest;
    status.textContent = `Kept: ${[first.side, first.where, first.what].filter(Boolean).join(", ")}${first.unsure.length ? ". Not sure" : ""}`;
  } else if (!command && said && left.length) {
    told.replaceChildren(row("told-no", "Not understood"), row("told-words", `“${said}”`));
    status.textContent = `Not understood: ${said}`;
  }
  soon();
}

function rows(line) {
  if (line.fact) return [row("told-fact", line.what.charAt(0).toUpperCase() + line.what.slice(1)), ...doubt(line)];
  const spot = row("told-spot", "");
  if (line.side) {
    const side = document.createElement("strong");
    side.className = line.side === "side?" ? "side none" : "side";
    side.textContent = line.side;
    spot.append(side, " ");
  }
  spot.append(line.where || "place not said");
  return [spot, row("told-what", `${line.changed ? "changed: " : ""}${line.what || "no result said"}`), ...doubt(line)];
}

function doubt(line) {
  if (!line.unsure.length) return [];
  const told = row("doubt", "");
  const mark = document.createElement("span");
  mark.className = "query";
  mark.setAttribute("aria-hidden", "true");
  mark.textContent = "?";
  told.append(mark, line.unsure.join("; "));
  return [told];
}

function row(kind, text) {
  const made = document.createElement("p");
  made.className = kind;
  made.textContent = text;
  return made;
}

function large(text, kind) {
  told.replaceChildren(row(`told-${kind}`, text));
  status.textContent = text;
}

function notice(text, warning) {
  why.textContent = text;
  if (warning) answers.tone("warning");
}

function away(mode) {
  const texts = { "standing-by": "Standing by: say “listen”", "off-the-record": "Off the record: nothing is kept" };
  label.textContent = texts[mode] ?? (session ? "Listening. Touch to stop" : "Talk");
  if (mode !== "listening") large(texts[mode], "answer");
}

function clock(seconds) {
  const shown = document.querySelector("#clock");
  shown.hidden = seconds === null;
  if (seconds !== null) shown.textContent = `Water on ${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
}

// New entries are put in soon after they were told of, once for several. Where the server was too busy to write them
// down at once, the page looks again.
function soon(again = 4) {
  clearTimeout(refreshing);
  refreshing = setTimeout(async () => {
    await refresh().catch(() => {});
    if (newest && again && !document.getElementById(`entry-${newest}`)) soon(again - 1);
    else newest = "";
  }, again === 4 ? 350 : 1200);
}

// ---- touches ----

// Not by disabling the button: that would take the focus from whoever came to it by keyboard.
async function toggle() {
  if (changing) return;
  changing = true;
  why.textContent = "";
  try { await (session ? finish() : begin()); } catch (error) {
    why.textContent = error.name === "NotAllowedError" ? "The browser was not allowed to use the microphone." : `No microphone: ${error.message}`;
  } finally { changing = false; }
}

function showChoice() {
  for (const one of document.querySelectorAll("[data-answers]")) one.setAttribute("aria-pressed", String(one.dataset.answers === answers.chosen()));
  const voice = document.querySelector("[data-answers=voice]");
  const hint = document.querySelector("#answers-why");
  if (hint) hint.textContent = answers.chosen() === "voice" && !answers.canSpeak() ? "This phone has no voice of its own: tones are used." : "";
  if (voice) voice.disabled = false;
}

button.addEventListener("click", toggle);
document.querySelector("#held-send").addEventListener("click", () => { for (const one of uplinks.values()) one.retry(); document.dispatchEvent(new Event("fieldnote-send")); sendLeft(); });
for (const one of document.querySelectorAll("[data-answers]"))
  one.addEventListener("click", async () => {
    answers.choose(one.dataset.answers);
    showChoice();
    await answers.wake();
    answers.tone("kept");
    answers.say("Kept.");
  });
window.speechSynthesis?.addEventListener?.("voiceschanged", showChoice);
// Going elsewhere ends the recording in good order first.
document.addEventListener("click", async (event) => {
  const link = event.target.closest("a[href]");
  if (!session || !link || event.defaultPrevented || event.ctrlKey || event.metaKey || link.hash && link.pathname === location.pathname) return;
  event.preventDefault();
  await finish();
  location.assign(link.href);
});
window.addEventListener("beforeunload", (event) => { if (session) event.preventDefault(); });
document.addEventListener("fieldnote-held", show);

if (navigator.mediaDevices && window.AudioWorkletNode) button.hidden = false;
else why.textContent = "Talking needs this page on this machine, or under https. A recording can be sent below.";
showChoice();
sendLeft();
if (section.dataset.job) watch();
