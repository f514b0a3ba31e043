import { describe, expect, it } from 'vitest';
import { Press } from './press';

/** A deterministic jitter of ±2 counts. */
const jitter = (i: number, k: number) => ((i * 7919 + k * 104_729) % 5) - 2;

/** `n` channels at 100 with some jitter, five scans a second; `set` changes a scan before it is taken. */
function play(press: Press, n: number, from: number, scans: number, set: (values: number[], k: number) => void = () => {}) {
  for (let k = from; k < from + scans; k++) {
    const values = Array.from({ length: n }, (_, i) => 100 + jitter(i, k));
    set(values, k);
    press.take(k * 200, values);
  }
}

describe('which channel is pressed', () => {
  it('is none while there is nothing but noise', () => {
    const press = new Press(256);
    play(press, 256, 1, 200);
    expect(press.pressed).toBeNull();
  });

  it('is the one that changed most, with where it came from and how many others went with it', () => {
    const press = new Press(256);
    play(press, 256, 1, 20);
    play(press, 256, 21, 5, (v) => {
      v[77] = 900;
      v[78] = 400;
      v[61] = 300;
    });
    expect(press.pressed).toMatchObject({ channel: 77, to: 900, held: true, others: 2, at: 25 * 200 });
    expect(press.pressed!.from).toBeGreaterThan(95);
    expect(press.pressed!.from).toBeLessThan(105);
  });

  it('is still named after it was let go, and no longer said to be held', () => {
    const press = new Press(16);
    play(press, 16, 1, 20);
    play(press, 16, 21, 5, (v) => (v[3] = 900));
    play(press, 16, 26, 30);
    expect(press.pressed).toMatchObject({ channel: 3, held: false });
  });

  it('is the next one when the finger moves on', () => {
    const press = new Press(16);
    play(press, 16, 1, 20);
    play(press, 16, 21, 5, (v) => (v[3] = 900));
    play(press, 16, 26, 5, (v) => (v[4] = 900));
    expect(press.pressed).toMatchObject({ channel: 4, held: true });
  });

  it('works for sensors whose readings fall, and on a single channel', () => {
    const press = new Press(1);
    for (let k = 1; k < 20; k++) press.take(k * 200, [800]);
    press.take(4000, [300]);
    expect(press.pressed).toMatchObject({ channel: 0, from: 800, to: 300, held: true });
  });

  it('is nothing that can be said before the rest is known', () => {
    const press = new Press(16);
    play(press, 16, 1, 2, (v) => (v[3] = 900));
    expect([press.settled, press.pressed]).toEqual([false, null]);
    play(press, 16, 3, 1, (v) => (v[3] = 900));
    expect([press.settled, press.pressed]).toEqual([true, null]);
    play(press, 16, 4, 1, (v) => (v[4] = 900));
    expect(press.pressed).toMatchObject({ channel: 4, held: true });
  });

  it('is never a channel without a reading, and a long press becomes the way things are', () => {
    const press = new Press(4);
    play(press, 4, 1, 20, (v) => (v[1] = NaN));
    play(press, 4, 21, 1, (v) => (v[1] = 900));
    expect(press.pressed).toBeNull();
    play(press, 4, 22, 1000, (v) => (v[2] = 900));
    expect(press.pressed).toMatchObject({ channel: 2, held: false });
  });

  it('passes over a scan that it has seen', () => {
    const press = new Press(4);
    play(press, 4, 1, 20);
    press.take(20 * 200, [900, 100, 100, 100]);
    expect(press.pressed).toBeNull();
  });
});
