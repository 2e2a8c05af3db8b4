// Photos on their way to the server: each is kept on this phone until the server has had the very same bytes.
import * as here from "/static/kept-here.js";
import { post } from "/static/asking.js";

let sending = false;

// `kept` is called after each that the server has, `refused` with why it does not want one (which is then forgotten).
export async function sendPhotos({ kept = () => {}, refused = () => {}, changed = () => {} } = {}) {
  if (sending) return;
  sending = true;
  try {
    for (const photo of await here.photos()) await send(photo, kept, refused);
  } catch { /* no answer: it stays on this phone, and is sent later */ } finally {
    sending = false;
    changed();
  }
}

async function send(photo, kept, refused) {
  const form = new FormData();
  form.append("photo", photo.blob, photo.name);
  form.append("entry", photo.entry);
  form.append("kind", photo.kind);
  try {
    const told = await post(`/jobs/${photo.job}/photos`, form);
    if (told.kept !== (await hashOf(photo.blob))) throw new Error("the server has something else than was sent");
  } catch (fault) {
    if (!fault.refused) throw fault;
    refused(fault.message);
    return here.forgetPhoto(photo.id);
  }
  await here.forgetPhoto(photo.id);
  await kept();
}

async function hashOf(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
