// Choosing a sentence lights up the entries that it rests on and plays the sound behind them, one stretch after another.
const player = document.querySelector("#player");
const playing = document.querySelector("#playing");
let stretches = [];
let current = null;

const entryOf = (id) => document.querySelector(`[data-entry="${CSS.escape(id)}"]`);

function light(ids) {
  const wanted = new Set(ids);
  for (const entry of document.querySelectorAll("[data-entry]")) entry.classList.toggle("on", wanted.has(entry.dataset.entry));
  for (const sentence of document.querySelectorAll(".sentence")) {
    const own = sentence.dataset.entries.split(" ");
    sentence.classList.toggle("on", own.some((id) => wanted.has(id)));
  }
}

function stretchOf(entry) {
  const { clip, from, to } = entry.dataset;
  if (!clip) return null;
  const number = entry.querySelector(".number")?.textContent ?? "";
  const words = entry.querySelector(".quote")?.textContent ?? "";
  return { clip, from: Number(from), to: Number(to), told: `${number} ${words}`.trim(), link: entry.querySelector(".play")?.href.split("#")[0] };
}

function play(entries) {
  stretches = entries.map(stretchOf).filter(Boolean);
  next();
}

function next() {
  if (!player) return;
  const wanted = stretches.shift();
  if (!wanted) return stop();
  current = wanted;
  player.parentElement.classList.remove("idle");
  playing.textContent = `Playing ${wanted.told}`;
  const start = () => {
    player.currentTime = wanted.from;
    player.play().catch(() => { playing.textContent = `Press play to hear ${wanted.told}`; });
  };
  if (player.dataset.clip === wanted.clip && player.readyState > 0) return start();
  player.dataset.clip = wanted.clip;
  player.src = wanted.link;
  player.addEventListener("loadedmetadata", start, { once: true });
  player.load();
}

function stop() {
  current = null;
  stretches = [];
  player?.pause();
  if (playing) playing.textContent = "Nothing is playing.";
}

player?.addEventListener("timeupdate", () => {
  if (current && player.currentTime >= current.to) next();
});
player?.addEventListener("ended", () => { if (current) next(); });
player?.addEventListener("error", () => {
  playing.textContent = "This browser cannot play the sound; the link beside the entry downloads it.";
  current = null;
});

document.addEventListener("click", (event) => {
  const sentence = event.target.closest("a.sentence");
  if (sentence) {
    const ids = sentence.dataset.entries.split(" ");
    const entries = ids.map(entryOf).filter(Boolean);
    if (!entries.length) return;
    event.preventDefault();
    light(ids);
    for (const other of document.querySelectorAll(".sentence")) if (other !== sentence) other.classList.remove("on");
    sentence.classList.add("on");
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    if (matchMedia("(min-width: 62rem)").matches) entries[0].scrollIntoView({ block: "nearest", behavior: calm ? "auto" : "smooth" });
    document.querySelector("#status").textContent = `Rests on ${entries.length === 1 ? "entry" : "entries"} ${entries.map((e) => e.querySelector(".number")?.textContent).join(", ")}.`;
    play(entries);
    return;
  }
  const link = event.target.closest("a.play");
  if (link && player) {
    event.preventDefault();
    light([link.dataset.play]);
    play([link.closest("[data-entry]")]);
  }
});

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  stop();
  player?.parentElement.classList.add("idle");
  light([]);
});
