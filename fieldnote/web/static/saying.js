// Says the text aloud by the browser's own voice, sentence by sentence: some voices stop in the middle of a long text.
// A voice that works on this device alone is taken; one that would send the text to somebody else never is.
const bar = document.querySelector("#saying");
const text = document.getElementById(bar.dataset.says);
const button = bar.querySelector("button");
const status = document.querySelector("#status");
const voices = globalThis.speechSynthesis;
let left = [];

const voice = () => {
  const own = voices.getVoices().filter((one) => one.localService);
  return own.find((one) => one.lang.startsWith("en")) ?? own.find((one) => one.default) ?? own[0];
};

function show() { bar.hidden = !voice(); }

function told(on) {
  button.setAttribute("aria-pressed", String(on));
  button.textContent = on ? "Stop" : "Say it aloud";
}

function stop() {
  left = [];
  voices.cancel();
  told(false);
}

function next() {
  const said = left.shift();
  if (!said) return told(false);
  const line = new SpeechSynthesisUtterance(said);
  line.voice = voice();
  line.lang = line.voice.lang;
  line.addEventListener("end", next);
  line.addEventListener("error", (fault) => {
    if (fault.error === "canceled" || fault.error === "interrupted") return;
    stop();
    status.textContent = "This device cannot say it aloud.";
  });
  voices.speak(line);
}

if (voices) {
  button.addEventListener("click", () => {
    if (button.getAttribute("aria-pressed") === "true") return stop();
    left = text.textContent.match(/[^.!?]+[.!?]+["”]?|[^.!?]+$/g).map((one) => one.trim()).filter(Boolean);
    told(true);
    next();
  });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") stop(); });
  addEventListener("pagehide", stop);
  voices.addEventListener?.("voiceschanged", show);
  show();
}
