// While recordings are being heard: asks how far they are, and puts new entries into the page without moving it.
const box = document.querySelector("[data-hearing]");
const status = document.querySelector("#status");
let busy = false;

export async function refresh() {
  const answer = await fetch(location.pathname, { headers: { accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of document.querySelectorAll("[data-live]")) {
    const typed = part.contains(document.activeElement) && document.activeElement.matches("input, textarea, select");
    const other = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
    if (other && !typed) part.replaceChildren(...document.adoptNode(other).childNodes);
  }
  const told = fresh.querySelector("[data-hearing]");
  if (told && box) box.replaceChildren(...document.adoptNode(told).childNodes);
}

export async function watch() {
  if (busy || !box) return;
  busy = true;
  let said = -1;
  let entries = null;
  try {
    for (;;) {
      const answer = await fetch(box.dataset.hearing, { headers: { accept: "application/json" } });
      if (!answer.ok) break;
      const state = await answer.json();
      entries ??= state.entries;
      if (state.said !== said) {
        said = state.said;
        await refresh();
      }
      if (!state.waiting) {
        await refresh();
        const more = state.entries - entries;
        status.textContent = state.fault ? `Not heard: ${state.fault}` : `Heard. ${more} new ${more === 1 ? "entry" : "entries"}.`;
        if (!state.fault) navigator.vibrate?.(80);
        break;
      }
      await new Promise((done) => setTimeout(done, 1200));
    }
  } catch {
    status.textContent = "The server does not answer just now.";
  } finally {
    busy = false;
  }
}

if (box && Number(box.dataset.waiting) > 0) watch();
