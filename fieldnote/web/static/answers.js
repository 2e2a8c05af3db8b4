// What was kept, told in four ways: large text, a tone, a shake, and a voice of the phone's own. Which of them sound is
// chosen on this phone.
const KEY = "fieldnote answers";
export const CHOICES = ["quiet", "tones", "voice"];
// As on the command line: rising for what was kept, falling for what was not understood. (hertz, seconds)
const TONES = {
  kept: [[880, 0.09], [1320, 0.09]],
  "not understood": [[440, 0.16], [330, 0.2]],
  warning: [[660, 0.12], [0, 0.08], [660, 0.12], [0, 0.08], [660, 0.12]],
  listening: [[660, 0.16]],
  stopped: [[440, 0.16]],
};
const SHAKES = { kept: [60], "not understood": [180, 90, 180], warning: [120, 60, 120, 60, 120], listening: [40], stopped: [40, 60, 40] };
let context = null;

export const chosen = () => (CHOICES.includes(localStorage.getItem(KEY)) ? localStorage.getItem(KEY) : "tones");
export const choose = (how) => localStorage.setItem(KEY, how);

// Sound may only begin with a touch: called from one.
export function wake() {
  context ??= new AudioContext();
  return context.resume();
}

export function tone(name) {
  navigator.vibrate?.(SHAKES[name] ?? SHAKES.kept);
  if (chosen() === "quiet" || !context) return;
  let at = context.currentTime + 0.02;
  for (const [pitch, long] of TONES[name] ?? TONES.kept) {
    if (pitch) {
      const note = context.createOscillator();
      const gain = context.createGain();
      note.frequency.value = pitch;
      gain.gain.setValueAtTime(0.0001, at);
      gain.gain.exponentialRampToValueAtTime(0.25, at + 0.012);
      gain.gain.exponentialRampToValueAtTime(0.001, at + long);
      note.connect(gain).connect(context.destination);
      note.start(at);
      note.stop(at + long + 0.02);
    }
    at += long;
  }
}

// Only voices that live on this phone: others send the words to a network.
const localVoice = () =>
  window.speechSynthesis?.getVoices().filter((voice) => voice.localService && voice.lang.startsWith("en"))
    .sort((a, b) => Number(b.default ?? false) - Number(a.default ?? false))[0];

export const canSpeak = () => Boolean(localVoice());

export function say(text) {
  const voice = localVoice();
  if (chosen() !== "voice" || !voice) return;
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(text);
  words.voice = voice;
  words.lang = voice.lang;
  words.rate = 1.05;
  words.onend = () => { quietFrom = performance.now() + 300; }; // the room still sounds for a moment
  speechSynthesis.speak(words);
}

let quietFrom = 0;
export const speaking = () => Boolean(window.speechSynthesis?.speaking) || performance.now() < quietFrom;
