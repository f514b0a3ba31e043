import { expect, it } from 'vitest';
import { around, LONGEST, moved, scaled, serves, SHORTEST } from './pastview';

const HOUR = 3_600_000;
const day = { from: 0, to: 24 * HOUR };

it('moves and keeps its length, and never beyond the present', () => {
  expect(moved(day, -HOUR, 30 * HOUR)).toEqual({ from: -HOUR, to: 23 * HOUR });
  expect(moved(day, 9 * HOUR, 30 * HOUR)).toEqual({ from: 6 * HOUR, to: 30 * HOUR });
});

it('keeps the instant under the finger where it is when it zooms', () => {
  for (const factor of [0.5, 0.9, 1.2, 2]) {
    for (const at of [0, 5 * HOUR, 24 * HOUR]) {
      const s = scaled(day, factor, at, 100 * HOUR);
      expect(s.to - s.from).toBeCloseTo(24 * HOUR * factor, 3);
      expect((at - s.from) / (s.to - s.from)).toBeCloseTo(at / (24 * HOUR), 9);
    }
  }
  expect(scaled(day, 2, 0, 30 * HOUR)).toEqual({ from: -18 * HOUR, to: 30 * HOUR });
});

it('shows no less than a minute and no more than a month', () => {
  expect(scaled(day, 1e-9, HOUR, 30 * HOUR).to - scaled(day, 1e-9, HOUR, 30 * HOUR).from).toBeCloseTo(SHORTEST, 3);
  expect(scaled(day, 1e9, HOUR, 1e12).to - scaled(day, 1e9, HOUR, 1e12).from).toBeCloseTo(LONGEST, 0);
});

it('reads once for moves of a length and for a little closer, and again beyond', () => {
  const now = 24 * HOUR;
  const asked = around({ from: 8 * HOUR, to: 16 * HOUR }, 600, now);
  expect(asked).toEqual({ from: 0, to: 24 * HOUR, step: (8 * HOUR) / 600 });
  for (const s of [{ from: 0, to: 8 * HOUR }, { from: 16 * HOUR, to: 24 * HOUR }, { from: 10 * HOUR, to: 15.5 * HOUR }]) expect(serves(asked, s, 600, now)).toBe(true);
  for (const s of [{ from: -1, to: 8 * HOUR - 1 }, { from: 10 * HOUR, to: 12 * HOUR }, { from: -8 * HOUR, to: 24 * HOUR }]) expect(serves(asked, s, 600, now)).toBe(false);
  // Nothing lies beyond the present, until it has gone on.
  expect(serves(around(day, 600, now), day, 600, now)).toBe(true);
  expect(serves(around(day, 600, now), { from: HOUR, to: 25 * HOUR }, 600, 25 * HOUR)).toBe(false);
});
