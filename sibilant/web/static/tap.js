// Copies what the microphone gives, unchanged, into blocks of 1024 samples.
class Tap extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(1024);
    this.filled = 0;
    this.on = true;
    this.port.onmessage = () => { this.on = false; };
  }

  process(inputs) {
    const channels = inputs[0];
    if (channels && channels.length > 0) {
      this.block.set(channels[0], this.filled);
      this.filled += channels[0].length;
      if (this.filled >= this.block.length) {
        this.port.postMessage(this.block, [this.block.buffer]);
        this.block = new Float32Array(1024);
        this.filled = 0;
      }
    }
    return this.on;
  }
}
registerProcessor("tap", Tap);
