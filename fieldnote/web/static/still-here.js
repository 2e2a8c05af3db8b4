// On every page but the bay: what is still on this phone is sent, and as long as it is not, the page says so.
import * as here from "/static/kept-here.js";
import { sendPhotos } from "/static/photo-queue.js";
import { Uplink } from "/static/uplink.js";

const links = new Map();
const box = document.querySelector("#still-here");

async function show() {
  const seconds = [...links.values()].reduce((sum, one) => sum + one.unconfirmed, 0);
  const photos = (await here.photos()).length;
  const parts = [];
  if (seconds > 0) parts.push(`${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")} of sound`);
  if (photos) parts.push(`${photos} ${photos === 1 ? "photo" : "photos"}`);
  box.hidden = !parts.length;
  box.textContent = parts.length ? `Still on this phone: ${parts.join(", ")}` : "";
}

const recording = await here.recording();
for (const take of await here.takes()) {
  if (recording.has(take.id)) continue;
  if (!take.frames) { await here.forget(take.id); continue; }
  take.done = true;
  await here.put(take);
  const link = new Uplink(take, { changed: show });
  links.set(take.id, link);
  link.over.then(() => { links.delete(take.id); show(); });
}
const photosToo = () => sendPhotos({ changed: show });
addEventListener("online", photosToo);
show();
photosToo();
