// Photos: taken with one touch, what they show with a second; kept on this phone until the server has them.
import * as here from "/static/kept-here.js";
import * as answers from "/static/answers.js";
import { sendPhotos } from "/static/photo-queue.js";
import { refresh } from "/static/hearing.js";

const file = document.querySelector("#photo-file");
const box = document.querySelector("#photo-box");
const what = document.querySelector("#photo-what");
const status = document.querySelector("#status");
const why = document.querySelector("#talk-why");
let entry = "";
let taken = null;

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

const sendAll = () =>
  sendPhotos({
    async kept() {
      status.textContent = "The photo is kept.";
      answers.tone("kept");
      await refresh().catch(() => {});
    },
    refused(reason) {
      why.textContent = reason;
      answers.tone("not understood");
    },
    changed: held,
  });

addEventListener("online", sendAll);
document.addEventListener("fieldnote-send", sendAll);
setInterval(sendAll, 20000);
sendAll();
