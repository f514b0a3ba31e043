import { expect, it } from 'vitest';
import { isoLine } from './iso';

function segments(cells: number[], rows: number, columns: number, level: number): number[][] {
  const out = new Float32Array(16 * (rows + 1) * (columns + 1));
  const n = isoLine(cells, rows, columns, level, out);
  return Array.from({ length: n / 4 }, (_, i) => [...out.subarray(4 * i, 4 * i + 4)]);
}

/** How often each end point occurs: in closed lines, always an even number of times. */
function ends(list: number[][]): number[] {
  const seen = new Map<string, number>();
  for (const [x0, y0, x1, y1] of list) {
    for (const key of [`${x0!.toFixed(4)},${y0!.toFixed(4)}`, `${x1!.toFixed(4)},${y1!.toFixed(4)}`]) seen.set(key, (seen.get(key) ?? 0) + 1);
  }
  return [...seen.values()];
}

it('has no line where all is on one side', () => {
  expect(segments([1, 2, 3, 4], 2, 2, 9)).toEqual([]);
});

it('crosses where the value is reached between two cells', () => {
  const list = segments([0, 10, 0, 10], 2, 2, 4);
  expect(list).toContainEqual([expect.closeTo(0.9), 0.5, expect.closeTo(0.9), 1.5]);
});

it('draws a closed line around one high cell', () => {
  const list = segments([0, 0, 0, 0, 10, 0, 0, 0, 0], 3, 3, 5);
  expect(list).toHaveLength(4);
  expect(ends(list).every((n) => n === 2)).toBe(true);
});

it('closes lines at the edge of the mat, inside it', () => {
  const list = segments([10, 10, 10, 10], 2, 2, 5);
  expect(ends(list).every((n) => n % 2 === 0)).toBe(true);
  for (const x of list.flat()) expect(x >= 0 && x <= 2).toBe(true);
});

it('leaves out squares with an unknown corner, and only these', () => {
  const cells = [0, 0, 0, 0, 0, 10, 10, 0, 0, 10, 10, 0, 0, 0, 0, NaN];
  const whole = segments(cells.map((x) => (Number.isNaN(x) ? 0 : x)), 4, 4, 5);
  expect(segments(cells, 4, 4, 5)).toHaveLength(whole.length - 1);
});

it('decides a saddle by its middle, and closes it either way', () => {
  for (const high of [6, 60]) {
    const field = new Array<number>(16).fill(0);
    field[6] = field[9] = high;
    const list = segments(field, 4, 4, 5);
    expect(list).toHaveLength(8);
    expect(ends(list).every((n) => n === 2)).toBe(true);
  }
});

it('agrees with the inside and outside of a random field: lines always close', () => {
  let seed = 3;
  const random = () => ((seed = (seed * 1103515245 + 12345) & 0x7fffffff) / 0x7fffffff) * 100;
  for (let k = 0; k < 50; k++) {
    const list = segments(Array.from({ length: 63 }, random), 7, 9, 50);
    expect(ends(list).every((n) => n % 2 === 0)).toBe(true);
  }
});
