import { expect, it } from 'vitest';
import { figures, newPicture, shadeOf, ticksOf } from './matview';

it('figures of a region: peak, longest, and how much is unknown', () => {
  const m = newPicture(2, 3);
  m.pressure.set([10, 40, NaN, 20, 5, 90]);
  m.loaded.set([0, 60, NaN, 600, 0, 7000]);
  expect(figures(m, [0, 1], [0, 1])).toEqual({ peak: 40, peakAt: 1, longest: 600, longestAt: 3, unknown: 0, cells: 4 });
  expect(figures(m, [0, 1], [2, 2])).toMatchObject({ peak: 90, peakAt: 5, unknown: 1, cells: 2 });
});

it('where nothing is known there are no figures, least of all zero', () => {
  expect(figures(newPicture(4, 4), [0, 3], [0, 3])).toMatchObject({ peak: NaN, peakAt: -1, longest: NaN, unknown: 16 });
});

it('shades of time: a minute is seen on a scale of hours, and the end is the end', () => {
  const share = shadeOf('loaded', 7200);
  expect(share(0)).toBe(0);
  expect(share(60)).toBeGreaterThan(0.08);
  expect(share(7200)).toBe(1);
  expect(shadeOf('pressure', 80)(20)).toBe(0.25);
});

it('a legend has ticks in order that leave each other room', () => {
  expect(ticksOf('loaded', 1800)).toEqual([0, 60, 300, 900, 1800]);
  for (const top of [40, 120, 1800, 7200, 14_400]) {
    const shares = ticksOf('loaded', top).map(shadeOf('loaded', top));
    for (let i = 1; i < shares.length; i++) expect(shares[i]! - shares[i - 1]!).toBeGreaterThan(0.17);
  }
  expect(ticksOf('pressure', 80)).toEqual([0, 40, 80]);
});
