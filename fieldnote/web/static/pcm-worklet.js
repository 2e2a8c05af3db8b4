// The microphone's samples as frames of 16-bit PCM at 16 kHz, a quarter of a second each.
//
// From the rate of the device by a windowed sinc: each sample at 16 kHz is a weighted sum of its neighbours, weighted by
// sin(x)/x of the lower rate under a Hann window, so that nothing above 7.2 kHz folds down into speech.
const RATE = 16000;
const FRAME = 4000;
const LOBES = 16;
const CUT = 0.9; // of half the lower rate

class Pcm extends AudioWorkletProcessor {
  constructor() {
    super();
    this.step = sampleRate / RATE;
    this.width = LOBES * Math.max(1, this.step);
    this.kept = new Float32Array(0); // samples of the device that are still needed
    this.from = 0; // which of all samples kept[0] is
    this.next = 0; // where the next sample at 16 kHz lies, in samples of the device
    this.frame = new Int16Array(FRAME);
    this.filled = 0;
    this.running = true;
    this.port.onmessage = () => this.finish();
  }

  process(inputs) {
    const channel = inputs[0]?.[0];
    if (channel && this.running) this.take(channel);
    return this.running;
  }

  take(channel) {
    const kept = new Float32Array(this.kept.length + channel.length);
    kept.set(this.kept);
    kept.set(channel, this.kept.length);
    this.kept = kept;
    const end = this.from + kept.length;
    while (this.next + this.width < end) this.put(this.sampleAt(this.next)), (this.next += this.step);
    const needless = Math.max(0, Math.floor(this.next - this.width) - this.from);
    this.kept = this.kept.slice(needless);
    this.from += needless;
  }

  sampleAt(at) {
    if (this.step === 1) return this.kept[Math.round(at) - this.from] ?? 0;
    const cut = CUT / Math.max(1, this.step);
    let sum = 0;
    let weights = 0;
    for (let n = Math.max(this.from, Math.ceil(at - this.width)); n <= at + this.width; n++) {
      const x = n - at;
      const t = Math.PI * x * cut;
      const weight = (Math.abs(t) < 1e-9 ? 1 : Math.sin(t) / t) * (0.5 + 0.5 * Math.cos((Math.PI * x) / this.width));
      sum += weight * (this.kept[n - this.from] ?? 0);
      weights += weight;
    }
    return sum / weights;
  }

  put(sample) {
    this.frame[this.filled++] = Math.max(-32768, Math.min(32767, Math.round(sample * 32767)));
    if (this.filled === FRAME) this.hand();
  }

  hand() {
    const samples = this.frame.slice(0, this.filled);
    this.filled = 0;
    this.port.postMessage({ samples }, [samples.buffer]);
  }

  finish() {
    if (this.filled) this.hand();
    this.running = false;
    this.port.postMessage({ over: true });
  }
}

registerProcessor("pcm", Pcm);
