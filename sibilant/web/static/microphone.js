// The microphone with all of the browser's processing off, at the rate the device has.

const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, voiceIsolation: false };

export class Microphone {
  /** Ask for the microphone and begin to listen; `device` is one of the browser's own identifiers, or empty. */
  static async open(device = "") {
    const audio = { ...PLAIN, ...(device ? { deviceId: { exact: device } } : {}) };
    const stream = await navigator.mediaDevices.getUserMedia({ audio });
    const mine = new Microphone();
    await mine.begin(stream);
    return mine;
  }

  async begin(stream) {
    this.stream = stream;
    this.track = stream.getAudioTracks()[0];
    this.settings = this.track.getSettings();
    this.label = this.track.label;
    // No loudspeaker: with one, the two devices' clocks drift apart and sound is lost from time to time.
    const options = { latencyHint: "playback", sinkId: { type: "none" } };
    if (this.settings.sampleRate) options.sampleRate = this.settings.sampleRate;
    this.context = new AudioContext(options);
    this.rate = this.context.sampleRate;
    await this.context.audioWorklet.addModule(new URL("tap.js", import.meta.url));
    const source = this.context.createMediaStreamSource(stream);
    const shape = { numberOfInputs: 1, numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit", channelInterpretation: "discrete" };
    this.tap = new AudioWorkletNode(this.context, "tap", shape);
    this.blocks = [];
    this.collecting = false;
    this.loudest = 0;
    this.onblock = () => {};
    this.tap.port.onmessage = (event) => this.take(event.data);
    source.connect(this.tap);
    await this.context.resume();
  }

  take(block) {
    if (this.collecting) this.blocks.push(block);
    let peak = 0;
    for (const sample of block) peak = Math.max(peak, Math.abs(sample));
    this.loudest = Math.max(this.loudest, peak);
    this.onblock(block);
  }

  /** Forget what was collected and collect from now on. */
  collect() {
    this.blocks = [];
    this.collecting = true;
  }

  /** What was collected since; collecting goes on from here without a gap. */
  cut() {
    const whole = new Float32Array(this.blocks.reduce((n, block) => n + block.length, 0));
    let place = 0;
    for (const block of this.blocks) {
      whole.set(block, place);
      place += block.length;
    }
    this.blocks = [];
    return whole;
  }

  get seconds() {
    return this.blocks.reduce((n, block) => n + block.length, 0) / this.rate;
  }

  rest() {
    this.blocks = [];
    this.collecting = false;
  }

  async close() {
    this.tap.port.postMessage("stop");
    this.track.stop();
    await this.context.close();
  }
}

/** The inputs one can choose from. */
export async function inputs() {
  const found = await navigator.mediaDevices.enumerateDevices();
  return found.filter((one) => one.kind === "audioinput");
}

const decibels = (peak) => (peak > 0 ? Math.max(-60, 20 * Math.log10(peak)) : -60);

/** Draw the level of a microphone into every meter of the place. */
export function meterOf(microphone, root) {
  let held = -60;
  let spoken = 0;
  const draw = (now) => {
    if (microphone.context.state === "closed") return;
    const db = decibels(microphone.loudest);
    microphone.loudest = 0;
    held = Math.max(db, held - 0.6);
    const word = held > -3 ? "too loud" : held > -30 ? "loud enough" : "quiet";
    for (const row of root.querySelectorAll(".meter-row")) {
      row.querySelector(".fill").style.width = `${((db + 60) / 60) * 100}%`;
      row.querySelector(".peak").style.left = `calc(${((held + 60) / 60) * 100}% - 1px)`;
      row.querySelector(".meter-word").textContent = word;
      if (now - spoken > 1000) {
        row.querySelector(".meter").setAttribute("aria-valuenow", String(Math.round(held)));
        row.querySelector(".meter").setAttribute("aria-valuetext", `${Math.round(held)} dB, ${word}`);
      }
    }
    if (now - spoken > 1000) spoken = now;
    requestAnimationFrame(draw);
  };
  requestAnimationFrame(draw);
}
