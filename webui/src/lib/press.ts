// Which channel is being pressed: the one that is furthest from what it was a
// moment ago, if that is more than the source's own noise.

export interface Pressed {
  channel: number;
  /** Reading a moment ago and now. */
  from: number;
  to: number;
  /** Server time in ms at which it was last seen to be pressed. */
  at: number;
  /** Whether it still is. */
  held: boolean;
  /** How many other channels changed as well. */
  others: number;
}

// A moment, and how long a press may last before it is taken for the way
// things are, in ms.
const MOMENT = 2000;
const PATIENCE = 20_000;
/** Scans before anything is said, so that a rest is known. */
const SETTLING = 3;
/** Of the noise, of the range seen, and in the readings' unit: what counts as a change. Under a body cells tremble more than most do, and a finger is no small load. */
const TIMES_NOISE = 8;
const OF_RANGE = 1 / 16;
const LEAST = 4;

export class Press {
  pressed: Pressed | null = null;

  readonly #rest: Float64Array;
  readonly #before: Float64Array;
  /** When each channel left its rest; NaN while it is there. */
  readonly #since: Float64Array;
  #at = NaN;
  #seen = 0;
  #noise = 0;
  #low = Infinity;
  #high = -Infinity;

  constructor(channels: number) {
    this.#rest = new Float64Array(channels).fill(NaN);
    this.#before = new Float64Array(channels).fill(NaN);
    this.#since = new Float64Array(channels).fill(NaN);
  }

  /** The change above which a channel counts as pressed. */
  get threshold(): number {
    return Math.max(LEAST, TIMES_NOISE * this.#noise, OF_RANGE * (this.#high - this.#low || 0));
  }

  /** Whether the rest is known: what is pressed before that is taken for it. */
  get settled(): boolean {
    return this.#seen >= SETTLING;
  }

  /** Takes one scan; NaN is no reading. A scan that is not newer than the one before is passed over. */
  take(at: number, values: ArrayLike<number>): void {
    if (values.length !== this.#rest.length || at <= this.#at) return;
    const lapse = at - this.#at;
    this.#at = at;
    this.#listen(values);
    const threshold = this.threshold;
    const soon = 1 - Math.exp(-lapse / MOMENT);
    let best = -1;
    let most = threshold;
    let from = NaN;
    let moved = 0;
    for (let i = 0; i < values.length; i++) {
      const v = values[i]!;
      if (v !== v) continue;
      const rest = this.#rest[i]!;
      if (rest !== rest) {
        this.#rest[i] = v;
        continue;
      }
      const change = Math.abs(v - rest);
      if (change <= threshold) {
        this.#rest[i] = rest + (v - rest) * soon;
        this.#since[i] = NaN;
        continue;
      }
      moved++;
      if (change > most) [best, most, from] = [i, change, rest];
      // The rest stays where it was for as long as a finger may stay.
      const since = this.#since[i]!;
      if (since !== since) this.#since[i] = at;
      else if (at - since > PATIENCE) [this.#rest[i], this.#since[i]] = [v, NaN];
    }
    if (++this.#seen <= SETTLING) return;
    const last = this.pressed;
    if (best < 0) {
      if (last?.held) this.pressed = { ...last, held: false };
      return;
    }
    const goesOn = last?.held && last.channel === best;
    this.pressed = { channel: best, from: goesOn ? last.from : from, to: values[best]!, at, held: true, others: moved - 1 };
  }

  /** Learns range and noise: the median step from scan to scan, of some of the channels. */
  #listen(values: ArrayLike<number>): void {
    const every = Math.max(1, Math.floor(values.length / 256));
    const steps: number[] = [];
    for (let i = 0; i < values.length; i++) {
      const v = values[i]!;
      if (v !== v) continue;
      if (v < this.#low) this.#low = v;
      if (v > this.#high) this.#high = v;
      const step = Math.abs(v - this.#before[i]!);
      if (i % every === 0 && step === step) steps.push(step);
      this.#before[i] = v;
    }
    // Of one or two channels, the pressed one would be the median: its step is not noise.
    if (steps.length < 3) return;
    steps.sort((a, b) => a - b);
    this.#noise += 0.2 * (steps[steps.length >> 1]! - this.#noise);
  }
}
