import { describe, expect, it } from 'vitest';
import { Columns, Walker } from './columns';

function show(columns: Columns, from: number, n: number, hold: number): string[] {
  const walker = new Walker(columns, hold);
  walker.seek(from);
  return Array.from({ length: n }, () => {
    const { lo, hi } = walker.next();
    return Number.isNaN(lo) ? '-' : lo === hi ? `${lo}` : `${lo}..${hi}`;
  });
}

describe('columns', () => {
  it('keep least, greatest and last, in whatever order samples come', () => {
    const c = new Columns(8, 100);
    for (const [t, v] of [[1010, 5], [1090, 7], [1050, 2]] as const) c.add(t, v);
    const slot = c.slot(10);
    expect([c.lo[slot], c.hi[slot], c.last[slot]]).toEqual([2, 7, 7]);
    expect(c.slot(11)).toBe(-1);
  });

  it('keep what was known in a column that ends unknown', () => {
    const c = new Columns(8, 100);
    c.add(1010, 5);
    c.add(1050, NaN);
    const slot = c.slot(10);
    expect([c.lo[slot], c.hi[slot], c.last[slot]]).toEqual([5, 5, NaN]);
    c.add(1150, NaN);
    c.add(1160, 3);
    expect([c.lo[c.slot(11)], c.hi[c.slot(11)]]).toEqual([3, 3]);
  });

  it('forget the oldest, and refuse what is older than the ring', () => {
    const c = new Columns(4, 10);
    for (let t = 0; t < 100; t += 10) c.add(t, t);
    expect(c.slot(5)).toBe(-1);
    expect(c.last[c.slot(6)]).toBe(60);
    c.add(50, 1); // its slot belongs to column 9 by now
    expect(c.slot(5)).toBe(-1);
    expect(c.last[c.slot(9)]).toBe(90);
  });

  it('can be cleared in part, also before 1970', () => {
    const c = new Columns(10, 10);
    for (let t = -30; t < 30; t += 10) c.add(t, t);
    c.clear(-20, 10);
    expect([-3, -2, -1, 0, 1, 2].map((k) => c.slot(k) >= 0)).toEqual([true, false, false, false, true, true]);
  });

  it('refuse a size or width that is none', () => {
    expect(() => new Columns(0, 1)).toThrow(RangeError);
    expect(() => new Columns(5, NaN)).toThrow(RangeError);
  });
});

describe('a walk over columns', () => {
  it('holds a value until it is too old, then shows a gap', () => {
    const c = new Columns(32, 100);
    c.add(1000, 40);
    c.add(1800, 50);
    expect(show(c, 9, 12, 300)).toEqual(['-', '40', '40', '40', '-', '-', '-', '-', '-', '50', '50', '50']);
  });

  it('joins a change to the value before it, but not across a gap', () => {
    const c = new Columns(32, 100);
    c.add(1000, 40);
    c.add(1100, 44);
    c.add(1600, 10);
    expect(show(c, 10, 8, 300)).toEqual(['40', '40..44', '44', '44', '-', '-', '10', '10']);
  });

  it('ends where the value is said to be unknown', () => {
    const c = new Columns(32, 100);
    c.add(1000, 40);
    c.add(1050, NaN);
    expect(show(c, 10, 3, 1000)).toEqual(['40', '-', '-']);
  });

  it('gives the same wherever it begins', () => {
    const c = new Columns(64, 50);
    for (let t = 0; t < 3000; t += 130) c.add(t, Math.round(20 + 10 * Math.sin(t)));
    const whole = show(c, 5, 40, 400);
    for (const from of [6, 13, 27]) expect(show(c, from, 40 - (from - 5), 400)).toEqual(whole.slice(from - 5));
  });
});
