// How long a sound lasts, from its loudness over the room's alone: nothing of how it is made is looked at.

export const FRAME_S = 0.005;
export const LONGEST_S = 4;
const OVER_ROOM_DB = 15; // a sound begins this far over the room
const LEAST_DB = -62; // and never under this, of full scale
const BEGINS_S = 0.05; // this long, before it counts: a click is no sound
const ENDS_S = 0.12; // quiet this long ends it: a waver does not
const ROOM_S = 1.5;

/** One try after the other; `length_s` grows only while a try that a person has marked as in place lasts. */
export class LongSound {
  constructor(rate) {
    this.frame = Math.round(rate * FRAME_S);
    this.energy = 0;
    this.filled = 0;
    this.room = [];
    this.reset();
  }

  /** Still again; a mark is good for one try. */
  reset() {
    Object.assign(this, { marked: false, sounding: false, ended: false, n: 0, begin: 0, last: 0, from: null, loud: 0, quiet: 0, levels: [] });
  }

  /** A person says that this try is in place: from here, or from where the sound begins, the ribbon may grow. */
  mark() {
    if (this.ended) this.reset();
    if (this.marked) return;
    this.marked = true;
    if (this.sounding) this.from = this.n;
  }

  /** Seconds the ribbon is long: 0 before the mark, at most four. */
  get length_s() {
    if (!this.marked || this.from === null) return 0;
    return Math.min(LONGEST_S, Math.max(0, this.last - this.from) * FRAME_S);
  }

  /** For the clinician: how long the whole sound was, and how far its loudness wandered (its SD in dB, the ends left out). */
  get whole() {
    const levels = this.levels.slice(10, this.last - this.begin - 10);
    const mean = levels.reduce((sum, one) => sum + one, 0) / levels.length;
    const sd = Math.sqrt(levels.reduce((sum, one) => sum + (one - mean) ** 2, 0) / levels.length);
    return { seconds: (this.last - this.begin) * FRAME_S, wander_db: levels.length > 20 ? sd : NaN };
  }

  take(block) {
    for (const sample of block) {
      this.energy += sample * sample;
      this.filled += 1;
      if (this.filled === this.frame) {
        this.step(10 * Math.log10(this.energy / this.frame + 1e-12));
        this.energy = 0;
        this.filled = 0;
      }
    }
  }

  get floor() {
    const sorted = [...this.room].sort((a, b) => a - b);
    return sorted.length ? sorted[Math.floor(sorted.length / 2)] : -90;
  }

  step(level) {
    const over = this.room.length * FRAME_S >= 0.2 && level > Math.max(LEAST_DB, this.floor + OVER_ROOM_DB);
    if (!this.sounding && !over) {
      this.room.push(level);
      if (this.room.length * FRAME_S > ROOM_S) this.room.shift();
    }
    this.n += 1;
    if (this.ended) return;
    this.loud = over ? this.loud + 1 : 0;
    this.quiet = over ? 0 : this.quiet + 1;
    if (over && this.loud === 1 && !this.sounding) this.candidate = this.n - 1;
    if (!this.sounding && this.loud * FRAME_S >= BEGINS_S) this.begins();
    if (!this.sounding) return;
    this.levels.push(level);
    if (over) this.last = this.n;
    if (this.quiet * FRAME_S >= ENDS_S) this.ends();
  }

  begins() {
    this.sounding = true;
    this.begin = this.last = this.candidate;
    this.levels = [];
    if (this.marked) this.from = this.begin;
  }

  /** The mark ends with the try; a sound that was not marked leaves nothing behind. */
  ends() {
    if (this.marked) {
      this.sounding = false;
      this.ended = true;
    } else this.reset();
  }
}
