import { expect, it } from 'vitest';
import { burst, HARMONICS, PITCH, RISE } from './sound';

// The bounds are those of IEC 60601-1-8 (2006), tables 3 and 4, as transcribed in
// public sources; the arithmetic of the whole burst is 12 pulses, 10 spacings and
// the gap.
const spacings = (b: ReturnType<typeof burst>) => b.pulses.slice(1).map((p, i) => p.at - b.pulses[i]!.at - b.pulses[i]!.lasts);
const within = (v: number, lo: number, hi: number) => expect(v >= lo && v <= hi, `${v} in ${lo} to ${hi}`).toBe(true);

it('high: ten pulses in two fives', () => {
  const b = burst('high');
  expect(b.pulses).toHaveLength(10);
  const t = b.pulses[0]!.lasts;
  within(t, 75, 200);
  const [x, x2, long, x3, gap] = spacings(b) as [number, number, number, number, number];
  within(x, 50, 125);
  within(gap, 350, 1300);
  within(b.pause, 2500, 15_000);
  expect([x2, long, x3]).toEqual([x, 2 * x + t, x]);
  expect(spacings(b).slice(5)).toEqual([x, x, 2 * x + t, x]);
  expect(b.length).toBe(12 * t + 10 * x + gap);
  expect(b.length).toBe(3500);
});

it('medium: three, and low: two, once', () => {
  const medium = burst('medium');
  expect(medium.pulses).toHaveLength(3);
  expect(medium.length).toBe(1000);
  within(medium.pause, 2500, 30_000);
  const low = burst('low');
  expect(low.pulses).toHaveLength(2);
  expect(low.pause).toBe(Infinity);
  for (const b of [medium, low]) {
    within(b.pulses[0]!.lasts, 125, 250);
    for (const s of spacings(b)) within(s, 125, 250);
  }
});

it('a pulse has a fundamental from 150 to 1000 Hz and four harmonics from 300 to 4000 Hz', () => {
  within(PITCH, 150, 1000);
  expect(HARMONICS.filter((h) => h > 1 && h * PITCH >= 300 && h * PITCH <= 4000).length).toBeGreaterThanOrEqual(4);
  within(RISE, 0.1, 0.2);
});
