// The page's idea of the server's clock: its last word, carried on by the
// browser's monotonic clock at the server's speed. The fastest beats set it; a
// beat that was long on its way shows as lag and moves it only a little.

/** Share of a lag by which a beat may turn the clock back. */
const GIVE = 0.01;

export class ServerClock {
  #anchor = NaN;
  #at = 0;
  #speed = 1;
  #lag = 0;

  /** True once the server has said what time it is. */
  get known(): boolean {
    return !Number.isNaN(this.#anchor);
  }

  /** How many times faster than life the server's time runs. */
  get speed(): number {
    return this.#speed;
  }

  /** How old the last beat was on arrival, in real milliseconds beyond the fastest. */
  get lag(): number {
    return this.#lag;
  }

  /** How old the newest word of the server is, in real milliseconds; NaN before the first. */
  age(monotonicMs: number): number {
    return this.known ? monotonicMs - this.#at + this.#lag : NaN;
  }

  /** A new connection: whatever was believed before is forgotten. */
  start(serverMs: number, speed: number, monotonicMs: number): void {
    this.#speed = speed > 0 && Number.isFinite(speed) ? speed : 1;
    this.#anchor = serverMs;
    this.#at = monotonicMs;
    this.#lag = 0;
  }

  beat(serverMs: number, monotonicMs: number): void {
    if (!this.known) return this.start(serverMs, this.#speed, monotonicMs);
    const behind = this.now(monotonicMs) - serverMs;
    this.#anchor = this.now(monotonicMs) - (behind > 0 ? behind * GIVE : behind);
    this.#at = monotonicMs;
    this.#lag = Math.max(0, behind / this.#speed);
  }

  /** Server time in milliseconds since the epoch, NaN before the first word. */
  now(monotonicMs: number): number {
    return this.#anchor + (monotonicMs - this.#at) * this.#speed;
  }
}
