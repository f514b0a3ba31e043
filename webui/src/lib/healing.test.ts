import { describe, expect, it } from 'vitest';
import { filled, worst } from './healing';
import type { Past } from './link/history';

/** One series of [ms, value] points. */
function past(...points: [number, number][]): Past {
  const values = Float64Array.from(points, (p) => p[1]);
  return { step: 1000, series: [{ name: 'ankle.pressure', t: Float64Array.from(points, (p) => p[0]), min: values, mean: values, max: values }] };
}

const every = (step: number, from: number, to: number): [number, number][] =>
  Array.from({ length: Math.floor((to - from) / step) }, (_, i) => [from + i * step, 40]);
const look = (p: Past, before = true) => filled(p, 10_000, 20_000, 2000, () => before);

describe('a hole', () => {
  it('is filled where the record goes through it', () => {
    expect(look(past(...every(100, 9000, 20_000)))).toBe('all');
    expect(look(past(...every(4000, 12_000, 20_000)))).toBe('all'); // what reports seldom begins late
  });

  it('is not filled by a daemon that was started in it', () => {
    expect(look(past(...every(100, 17_000, 20_000)))).toBe('part');
    expect(look(past())).toBe('part');
    expect(look(past([9000, NaN], [10_000, NaN], [19_000, NaN]))).toBe('part');
    expect(look(past(...every(1000, 9000, 12_000), [12_000, NaN], ...every(1000, 17_000, 20_000)))).toBe('part');
  });

  it('is not filled up to its end by a source that has fallen silent', () => {
    expect(look(past(...every(100, 9000, 14_000), [14_100, NaN]))).toBe('part');
    expect(look(past(...every(100, 9000, 19_000), [19_000, NaN]))).toBe('all');
  });

  it('is none in what was not known before either', () => {
    expect(look(past(), false)).toBe('nothing');
    expect(look({ step: 1000, series: [] })).toBe('nothing');
  });
});

it('is filled for a page where it is for all that the page shows', () => {
  expect(worst(['all', 'part', 'nothing'])).toBe('part');
  expect(worst(['nothing', 'all'])).toBe('all');
  expect(worst([])).toBe('nothing');
});
