import { expect, test } from 'vitest';
import { edgeOf, give, grids, nextName, seenFrom } from './pressing';

test('a channel that is pressed again moves to the site that is named now', () => {
  let sites = give([], 'ankle', 3);
  sites = give(sites, 'ankle', 4);
  sites = give(sites, 'calf', 3);
  expect(sites).toEqual([{ id: 'ankle', channels: [4] }, { id: 'calf', channels: [3] }]);
  expect(give(sites, 'calf', 4)).toEqual([{ id: 'calf', channels: [3, 4] }]);
});

test('the next name is the first that is free', () => {
  expect(nextName('wrap', [{ id: 'foot', channels: [1] }, { id: 'calf', channels: [2] }])).toBe('ankle');
  expect(nextName('seat', ['ischial_left', 'ischial_right', 'sacrum', 'thigh_left', 'thigh_right'].map((id) => ({ id, channels: [0] })))).toBe('');
});

test('channels are a grid in every way that fits, the squarest first', () => {
  expect(grids(12)).toEqual([[4, 3], [3, 4], [6, 2], [2, 6]]);
  expect(grids(13)).toEqual([]);
});

test('a press at the middle of an edge is at it, and one at a corner or in the middle is nowhere', () => {
  const at = (row: number, column: number) => edgeOf(64, 32, row * 32 + column);
  expect(at(2, 16)).toBe('first_row');
  expect(at(60, 14)).toBe('last_row');
  expect(at(33, 1)).toBe('first_column');
  expect(at(30, 31)).toBe('last_column');
  expect(at(0, 0)).toBeNull();
  expect(at(32, 16)).toBeNull();
});

// Somebody lies supine with the head at the top of a map as from above, and so
// faces who looks at it: their left is at the right of it. The other edges follow
// by quarter turns of the page.
test('the left of a person says from where the map is seen', () => {
  const from = (head: Parameters<typeof seenFrom>[2], row: number, column: number) => seenFrom(10, 10, head, row * 10 + column);
  expect(from('first_row', 5, 9)).toBe('above');
  expect(from('first_row', 5, 0)).toBe('below');
  expect(from('last_column', 9, 5)).toBe('above');
  expect(from('last_row', 5, 0)).toBe('above');
  expect(from('first_column', 0, 5)).toBe('above');
  expect(from('first_column', 9, 5)).toBe('below');
  expect(from('first_column', 5, 5)).toBeNull();
});
