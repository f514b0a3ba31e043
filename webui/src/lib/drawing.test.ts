import { expect, test } from 'vitest';
import { between, cellAt, freshName, moved, stretched } from './drawing';
import type { Region } from './link/types';

const size = { rows: 10, columns: 6 };
const region: Region = { id: 'pelvis', rows: [4, 6], columns: [1, 4] };

test('a rectangle is the same from whichever corner it is drawn', () => {
  expect(between({ row: 2, column: 5 }, { row: 7, column: 1 })).toEqual({ rows: [2, 7], columns: [1, 5] });
});

test('a region stops at the edge of the mat with its size', () => {
  expect(moved(region, -9, 9, size)).toEqual({ id: 'pelvis', rows: [0, 2], columns: [2, 5] });
});

test('a region grows to the edge and shrinks to one cell', () => {
  expect(stretched(region, 99, 99, size)).toMatchObject({ rows: [4, 9], columns: [1, 5] });
  expect(stretched(region, -99, -99, size)).toMatchObject({ rows: [4, 4], columns: [1, 1] });
});

test('a point beyond the map is in its nearest cell', () => {
  const box = { left: 100, top: 50, width: 60, height: 100 };
  expect(cellAt(131, 99, box, size)).toEqual({ row: 4, column: 3 });
  expect(cellAt(5000, -5, box, size)).toEqual({ row: 0, column: 5 });
});

test('a new region gets a name of the trade that is free, and then a number', () => {
  expect(freshName('seat', [{ ...region, id: 'ischial_left' }])).toBe('ischial_right');
  const all = ['ankle_inner', 'ankle_outer', 'shin', 'calf', 'heel', 'region_1'].map((id) => ({ ...region, id }));
  expect(freshName('wrap', all)).toBe('region_2');
});
