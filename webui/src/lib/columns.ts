// A trace as it will be drawn: a ring of columns of equal duration, each with
// the least, greatest and last value that fell into it. It has the size of the
// drawing and not of the data, is filled in any order (live, or afterwards
// from the record), and never invents a value for a column that had none.

export class Columns {
  readonly size: number;
  /** Duration of a column in milliseconds. */
  readonly width: number;
  readonly lo: Float32Array;
  readonly hi: Float32Array;
  readonly last: Float32Array;
  readonly #stamp: Float64Array; // which column a slot holds
  readonly #time: Float64Array; // time of the last sample in it

  constructor(size: number, widthMs: number) {
    if (!(size > 0) || !(widthMs > 0)) throw new RangeError(`columns: ${size} of ${widthMs} ms`);
    this.size = size;
    this.width = widthMs;
    this.lo = new Float32Array(size);
    this.hi = new Float32Array(size);
    this.last = new Float32Array(size);
    this.#stamp = new Float64Array(size).fill(NaN);
    this.#time = new Float64Array(size);
  }

  /** The number of the column that time t (ms) falls into. */
  column(t: number): number {
    return Math.floor(t / this.width);
  }

  /** The slot of column c in the arrays, or -1 where it has no sample. */
  slot(c: number): number {
    const slot = this.#wrap(c);
    return this.#stamp[slot] === c ? slot : -1;
  }

  /** Time of the last sample of a slot, in ms. */
  time(slot: number): number {
    return this.#time[slot]!;
  }

  /** Adds one sample. NaN says that the value is unknown from t on. */
  add(t: number, v: number): void {
    this.addRange(t, v, v, v);
  }

  /** Adds what is known of a stretch of samples that ends about t. */
  addRange(t: number, lo: number, last: number, hi: number): void {
    const c = this.column(t);
    const slot = this.#wrap(c);
    const stamp = this.#stamp[slot]!;
    if (stamp > c) return; // a newer round of the ring is already there
    if (stamp !== c) {
      this.#stamp[slot] = c;
      this.#time[slot] = t;
      this.lo[slot] = lo;
      this.hi[slot] = hi;
      this.last[slot] = last;
      return;
    }
    if (!(this.lo[slot]! <= lo)) this.lo[slot] = Number.isNaN(lo) ? this.lo[slot]! : lo;
    if (!(this.hi[slot]! >= hi)) this.hi[slot] = Number.isNaN(hi) ? this.hi[slot]! : hi;
    if (t >= this.#time[slot]!) {
      this.#time[slot] = t;
      this.last[slot] = last;
    }
  }

  /** Forgets the columns from time `from` to before `to`, both in ms. */
  clear(from: number, to: number): void {
    const first = this.column(from);
    const end = Math.min(this.column(to), first + this.size);
    for (let c = first; c < end; c++) {
      const slot = this.#wrap(c);
      if (this.#stamp[slot] === c) this.#stamp[slot] = NaN;
    }
  }

  #wrap(c: number): number {
    return ((c % this.size) + this.size) % this.size;
  }
}

/** What one column shows: `lo` is NaN where nothing is known. */
interface Shown {
  lo: number;
  hi: number;
}

/**
 * Walks columns in order and says what each one shows: its samples, joined to
 * the value before; or that value, which lasts for at most `hold` ms; or
 * nothing. It is made for drawing step by step: `seek` once, then `next`.
 */
export class Walker {
  readonly #columns: Columns;
  readonly #hold: number;
  #c = 0;
  #value = NaN;
  #since = -Infinity;
  readonly #shown: Shown = { lo: NaN, hi: NaN };

  constructor(columns: Columns, holdMs: number) {
    this.#columns = columns;
    this.#hold = holdMs;
  }

  /** The next call of next is about column c. */
  seek(c: number): void {
    const back = Math.min(this.#columns.size - 1, Math.ceil(this.#hold / this.#columns.width));
    this.#value = NaN;
    this.#since = -Infinity;
    for (let k = c - back; k < c; k++) this.#take(k);
    this.#c = c;
  }

  /** What the column shows. The object is used again by the following call. */
  next(): Shown {
    const c = this.#c++;
    const before = this.#holds(c) ? this.#value : NaN;
    const slot = this.#take(c);
    if (slot < 0) {
      this.#shown.lo = this.#shown.hi = before;
      return this.#shown;
    }
    const { lo, hi } = this.#columns;
    this.#shown.lo = before < lo[slot]! ? before : lo[slot]!;
    this.#shown.hi = before > hi[slot]! ? before : hi[slot]!;
    return this.#shown;
  }

  #take(c: number): number {
    const slot = this.#columns.slot(c);
    if (slot >= 0) {
      this.#value = this.#columns.last[slot]!;
      this.#since = this.#columns.time(slot);
    }
    return slot;
  }

  #holds(c: number): boolean {
    return c * this.#columns.width - this.#since < this.#hold;
  }
}
