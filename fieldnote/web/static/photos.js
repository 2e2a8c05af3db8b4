// Photos: taken with one touch, what they show with a second; kept on this phone until the server has them.
import * as here from "/static/kept-here.js";
import * as answers from "/static/answers.js";
import { post } from "/static/asking.js";
import { refresh } from "/static/hearing.js";

const file = document.querySelector("#photo-file");
const box = document.querySelector("#photo-box");
const what = document.querySelector("#photo-what");
const status = document.querySelector("#status");
const why = document.querySelector("#talk-why");
let entry = "";
let taken = null;
let sending = false;

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-photo]");
  if (!link) return;
  event.preventDefault();
  // The button at the foot belongs to what was understood last.
  const own = link.dataset.photo ? link : document.querySelector(".big-entries a[data-photo]");
  entry = own?.dataset.photo ?? "";
  what.textContent = own?.dataset.photoFor?.trim() || "The job as a whole";
  file.value = "";
  file.click();
});

file.addEventListener("change", async () => {
  taken = file.files[0] ?? null;
  if (!taken) return;
  await draw(taken).catch(() => {});
  box.showModal();
  box.querySelector("[data-kind]").focus();
});

async function draw(picture) {
  const canvas = document.querySelector("#photo-shown");
  const bitmap = await createImageBitmap(picture);
  const scale = Math.min(600 / bitmap.width, 400 / bitmap.height);
  canvas.width = Math.round(bitmap.width * scale);
  canvas.height = Math.round(bitmap.height * scale);
  canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
}

for (const button of document.querySelectorAll("[data-kind]"))
  button.addEventListener("click", async () => {
    box.close();
    const job = document.querySelector(".talk").dataset.job;
    const photo = { id: crypto.randomUUID(), job, entry, kind: button.dataset.kind, blob: taken, name: taken.name || "photo.jpg" };
    taken = null;
    try { await here.putPhoto(photo); } catch { why.textContent = "This phone has no room to keep the photo until it is sent."; }
    held();
    sendAll();
  });
document.querySelector("#photo-no").addEventListener("click", () => box.close());

const held = () => document.dispatchEvent(new Event("fieldnote-held"));

async function sendAll() {
  if (sending) return;
  sending = true;
  try {
    for (const photo of await here.photos()) await send(photo);
  } catch { /* no answer: it stays on this phone, and is sent later */ } finally {
    sending = false;
    held();
  }
}

async function send(photo) {
  const form = new FormData();
  form.append("photo", photo.blob, photo.name);
  form.append("entry", photo.entry);
  form.append("kind", photo.kind);
  try {
    const told = await post(`/jobs/${photo.job}/photos`, form);
    if (told.kept !== (await hashOf(photo.blob))) throw new Error("the server has something else than was sent");
  } catch (fault) {
    if (!fault.refused) throw fault;
    why.textContent = fault.message;
    answers.tone("not understood");
    return here.forgetPhoto(photo.id);
  }
  await here.forgetPhoto(photo.id);
  status.textContent = "The photo is kept.";
  answers.tone("kept");
  await refresh().catch(() => {});
}

async function hashOf(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

addEventListener("online", sendAll);
document.addEventListener("fieldnote-send", sendAll);
setInterval(sendAll, 20000);
sendAll();
