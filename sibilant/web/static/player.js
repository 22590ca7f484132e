// Plays kept words and the hiss within them: the samples themselves, at their own rate, cut to the sample.
import { askBytes } from "./ask.js";

const FADE_S = 0.003;

export class Player {
  constructor() {
    this.context = null;
    this.playing = null;
    this.held = new Map();
  }

  /** Fetch a token's sound beforehand, so that playing begins at once. */
  load(client, session, key) {
    const name = `${client} ${session} ${key}`;
    if (!this.held.has(name)) {
      const coming = this.fetched(client, session, key);
      this.held.set(name, coming);
      coming.catch(() => this.held.delete(name)); // asked again next time
    }
    return this.held.get(name);
  }

  async fetched(client, session, key) {
    const { head, bytes } = await askBytes("do/sound", { client, session, key });
    return { samples: new Float32Array(bytes), rate: head("x-rate"), first: head("x-first"), last: head("x-last"), from: head("x-from") };
  }

  forget() {
    this.held.clear();
  }

  async ready(rate) {
    if (this.context && this.context.sampleRate !== rate) {
      await this.context.close();
      this.context = null;
    }
    if (!this.context) this.context = new AudioContext({ sampleRate: rate, latencyHint: "interactive" });
    if (this.context.state !== "running") await this.context.resume();
  }

  stop() {
    if (this.playing) this.playing.stop();
    this.playing = null;
  }

  /** Play samples from `first` up to `last`; returns how many were played and when they begin on the audio clock. */
  async play(sound, first = 0, last = sound.samples.length) {
    await this.ready(sound.rate);
    this.stop();
    const cut = sound.samples.subarray(first, last);
    if (!cut.length) return { samples: 0, at: 0 };
    const buffer = this.context.createBuffer(1, cut.length, sound.rate);
    buffer.copyToChannel(cut, 0);
    const source = new AudioBufferSourceNode(this.context, { buffer });
    const gain = new GainNode(this.context, { gain: 0 });
    const begin = this.context.currentTime;
    const end = begin + cut.length / sound.rate;
    const fade = Math.min(FADE_S, (end - begin) / 4);
    gain.gain.setValueAtTime(0, begin);
    gain.gain.linearRampToValueAtTime(1, begin + fade);
    gain.gain.setValueAtTime(1, end - fade);
    gain.gain.linearRampToValueAtTime(0, end);
    source.connect(gain).connect(this.context.destination);
    source.start(begin);
    this.playing = source;
    return { samples: cut.length, at: begin };
  }
}
