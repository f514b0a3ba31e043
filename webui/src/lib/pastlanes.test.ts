import { expect, test } from 'vitest';
import { pointAt, topOf, within, xOf } from './pastlanes';

const t = Float64Array.of(0, 10, 20, 40);
const mean = Float64Array.of(1, NaN, 3, 4);

test('an instant lies in the point that began last, and in none where nothing is known', () => {
  expect(pointAt(t, mean, 10, 9)).toBe(0);
  expect(pointAt(t, mean, 10, 10)).toBe(-1);
  expect(pointAt(t, mean, 10, 29)).toBe(2);
  expect(pointAt(t, mean, 10, 30)).toBe(-1); // there is no point there
  expect(pointAt(t, mean, 10, -1)).toBe(-1);
});

test('between two points that are told in whole ms there is nothing of which nothing is known', () => {
  const from = 1_000_000.4;
  const step = 506.25;
  const told = Float64Array.from({ length: 600 }, (_, i) => Math.floor(from + i * step));
  const known = new Float64Array(600).fill(1);
  for (let i = 0; i < 599; i++) expect(pointAt(told, known, step, from + (i + 1) * step - 1)).toBeGreaterThanOrEqual(i);
});

test('what lies in a stretch, also in part, is drawn', () => {
  expect(within(t, 10, 0, 100)).toEqual([0, 4]);
  expect(within(t, 10, 15, 20)).toEqual([1, 3]); // the point at 10 lasts until 20
  expect(within(t, 10, 20, 39)).toEqual([2, 3]);
  expect(within(t, 10, 60, 90)).toEqual([4, 4]);
});

test('time runs to the right over the whole width', () => {
  expect([xOf(0, 0, 100, 50), xOf(100, 0, 100, 50)]).toEqual([0, 50]);
});

test('lanes are as high as what they show, in round numbers', () => {
  const of = (...max: number[]) => topOf({ step: 1, series: [{ name: 'a', t, min: mean, mean, max: Float64Array.from(max) }] });
  expect([of(), of(NaN), of(61), of(101)]).toEqual([20, 20, 80, 150]);
});
