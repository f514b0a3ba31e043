import { expect, test } from 'vitest';
import { aside } from './labels';

test('a figure beside a mark lies between the edges, wherever the mark is and however wide it is', () => {
  const [left, right] = [86, 278]; // of a limb on a window of 320 px
  for (const wide of [56, 106, 140, 192]) {
    for (let at = 74; at <= 266; at += 0.5) {
      const middle = at + aside(at, wide, left, right);
      expect(middle - wide / 2).toBeGreaterThanOrEqual(left);
      expect(middle + wide / 2).toBeLessThanOrEqual(right);
      if (at - wide / 2 >= left && at + wide / 2 <= right) expect(middle).toBe(at);
    }
  }
});

test('one that is wider than what there is ends at the right, where its unit stands', () => {
  expect(200 + aside(200, 300, 86, 278) + 150).toBe(278);
});
