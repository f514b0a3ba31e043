import { expect, it } from 'vitest';
import { figures, newPicture } from './matview';

it('figures of a region: peak, mean, longest, and how much is unknown', () => {
  const m = newPicture(2, 3);
  m.pressure.set([10, 40, NaN, 20, 5, 90]);
  m.loaded.set([0, 60, NaN, 600, 0, 7000]);
  expect(figures(m, [0, 1], [0, 1])).toEqual({ peak: 40, peakAt: 1, mean: 18.75, longest: 600, longestAt: 3, unknown: 0, cells: 4 });
  expect(figures(m, [0, 1], [2, 2])).toMatchObject({ peak: 90, peakAt: 5, mean: 90, unknown: 1, cells: 2 });
});

it('where nothing is known there are no figures, least of all zero', () => {
  expect(figures(newPicture(4, 4), [0, 3], [0, 3])).toMatchObject({ peak: NaN, peakAt: -1, mean: NaN, longest: NaN, unknown: 16 });
});
