import { expect, test } from 'vitest';
import { give, nextName } from './pressing';

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
