// While recordings are being heard: asks how far they are, and puts new entries into the page without moving it.
const box = document.querySelector("[data-hearing]");
const status = document.querySelector("#status");
let busy = false;

export async function refresh() {
  const answer = await fetch(location.pathname + location.search, { headers: { accept: "text/html" } });
  if (!answer.ok) return;
  apply(new DOMParser().parseFromString(await answer.text(), "text/html"));
}

// Puts the live parts of a page that came into this one.
export function apply(fresh) {
  for (const part of document.querySelectorAll("[data-live]")) {
    const other = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
    if (!other || other.innerHTML === part.innerHTML) continue;
    const on = part.contains(document.activeElement) ? document.activeElement : null;
    if (on?.matches("input, textarea, select")) continue;
    // What was opened stays open, and who came here by keyboard stays where they were.
    const opened = [...part.querySelectorAll("details[open][id]")].map((one) => one.id);
    const path = on && pathOf(on);
    part.replaceChildren(...document.adoptNode(other).childNodes);
    for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
    if (path) part.ownerDocument.querySelector(path)?.focus({ preventScroll: true });
  }
  const told = fresh.querySelector("[data-hearing]");
  if (told && box) box.replaceChildren(...document.adoptNode(told).childNodes);
  document.dispatchEvent(new Event("fieldnote-fresh"));
}

// A way to find the same control in the page that comes: within its entry, by what it does.
function pathOf(on) {
  const home = on.closest("[id]");
  if (!home) return null;
  if (home === on) return `#${CSS.escape(on.id)}`;
  const how = on.value ? `[value="${CSS.escape(on.value)}"]` : on.getAttribute("href") ? `[href="${CSS.escape(on.getAttribute("href"))}"]` : "";
  return `#${CSS.escape(home.id)} ${on.localName}${how}`;
}

export async function watch() {
  if (busy || !box?.dataset.hearing) return;
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
