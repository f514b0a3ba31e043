import { beforeAll, describe, expect, it } from 'vitest';
import { clockTime, bound, count, difference, duration, fromForm, instant, number, percent, quantity, setZone, size, smallShare, subjectName, unbroken, unparted } from './format';
import { names } from './text';

beforeAll(() => setZone('Europe/Berlin'));

describe('times', () => {
  const noon = Date.UTC(2031, 0, 15, 11, 0, 7);
  it('are 24 h in the zone of the site', () => {
    expect(clockTime(noon, noon)).toBe('12:00');
    expect(clockTime(noon, noon, true)).toBe('12:00:07');
    expect(clockTime(Date.UTC(2031, 0, 14, 23, 5), noon)).toBe('00:05');
  });
  it('have a date when it is not today there', () => {
    expect(clockTime(Date.UTC(2031, 0, 14, 22, 59), noon)).toBe('14 Jan 23:59');
  });
  it('that are none are a dash', () => {
    expect(clockTime(instant(null), noon)).toBe('—');
    expect(clockTime(instant('soon'), noon)).toBe('—');
  });
});

it('durations have the two largest units', () => {
  expect([0, 48_000, 89_400, 90_000, 3_599_000, 3_600_000, 6_120_000, 183_600_000].map(duration)).toEqual([
    '0 s', '48 s', '89 s', '2 min', '1 h', '1 h', '1 h 42 min', '2 d 3 h',
  ]);
});

it('numbers have the digits that their uncertainty supports', () => {
  expect(number(41.23, 1.8)).toBe('41');
  expect(number(41.23, 0.4)).toBe('41.2');
  expect(number(4.23, null)).toBe('4.2');
  expect(number(-0.04, 0.2)).toBe('0.0');
  expect(number(-3.2)).toBe('−3.2');
  expect(quantity(41.23, 1.8, 'mmHg')).toBe('41 ± 2 mmHg');
  expect(quantity(120, null, 'cm2')).toBe('120 cm²');
});

it('unknown is a dash with a word, never 0', () => {
  expect(quantity(null, 1, 'mmHg')).toBe('— not known');
  expect(number(NaN)).toBe('—');
  expect(percent(null)).toBe('—');
});

it('a share is not whole before it is', () => {
  expect([0.8321, 0.999, 1].map(percent)).toEqual(['83 %', '99 %', '100 %']);
});

it('a line never ends between a number and its unit', () => {
  expect(unbroken('ankle 41 ± 2 mmHg: above 60 mmHg for 15 s of 1 min 30 s')).toBe(
    'ankle 41\u00a0±\u00a02\u00a0mmHg: above 60\u00a0mmHg for 15\u00a0s of 1\u00a0min 30\u00a0s',
  );
  expect(unbroken('in 1 h 42 min, 83 % of 12 cm² or 10 cm2 in 5 days')).toBe('in 1\u00a0h 42\u00a0min, 83\u00a0% of 12\u00a0cm² or 10\u00a0cm2 in 5 days');
});

describe('counts', () => {
  it('are grouped by thousands and have the sign of type', () => {
    expect([0, 999, 2048, 1234567, -1042, 12.34].map(count)).toEqual(['0', '999', '2,048', '1,234,567', '−1,042', '12.3']);
  });

  it('of bytes and of small shares have two or three digits', () => {
    expect([812, 1200, 12_345, 3_400_000, 5e9].map(size)).toEqual(['812 B', '1.2 kB', '12 kB', '3.4 MB', '5.0 GB']);
    expect([[0, 10], [1, 1e6], [1, 2000], [3, 200], [12, 100], [1, 0]].map(([a, b]) => smallShare(a!, b!))).toEqual(['0 %', '< 0.01 %', '0.05 %', '1.5 %', '12 %', '0 %']);
  });
});

describe('times of forms', () => {
  it('are in the zone of the site, on both sides of a change of clocks', () => {
    expect(fromForm('2026-03-28T22:15')).toBe(Date.parse('2026-03-28T21:15:00Z'));
    expect(fromForm('2026-03-29T22:15')).toBe(Date.parse('2026-03-29T20:15:00Z'));
    expect(fromForm('')).toBeNaN();
  });
});

it('a difference says which way', () => {
  expect([2, -0.26, -0.04, 0].map((d) => difference(d, 'mmHg'))).toEqual(['+2.0 mmHg', '−0.3 mmHg', '+0.0 mmHg', '+0.0 mmHg']);
});

it('a limit has the digits that it was given', () => {
  expect([60, 9.4, 0.125].map((l) => bound(l, 'mmHg'))).toEqual(['60 mmHg', '9.4 mmHg', '0.125 mmHg']);
});

// A rule of graduation is about two sites, which the daemon joins by a hyphen.
it('two sites are said in the language of the pages, as one is', () => {
  const { ankle, calf } = names;
  Object.assign(names, { ankle: 'Knöchel', calf: 'Wade' });
  expect(['ankle', 'ankle-calf', 'inner_ankle-calf'].map(subjectName)).toEqual(['Knöchel', 'Knöchel-Wade', 'inner Knöchel-Wade']);
  Object.assign(names, { ankle, calf });
});

// UAX #14, LB11: no line ends before or after a word joiner.
it('no line ends at the hyphen of a code or of a place, and other hyphens stay as they are', () => {
  expect(unparted('signed N-4, at bench-12')).toBe('signed N-\u20604, at bench-\u206012');
  expect(unparted('long-on-one-spot 2026-11-28')).toBe('long-on-one-spot 2026-11-28');
});
