// Hands the microphone's samples to the page, block by block.
registerProcessor("pcm", class extends AudioWorkletProcessor {
  process(inputs) {
    const channel = inputs[0]?.[0];
    if (channel) this.port.postMessage(channel.slice());
    return true;
  }
});
