import { expect, it } from 'vitest';
import { differences, hunks, type Line } from './diff';

const text = (lines: Line[], but: Line['kind']) => lines.filter((l) => l.kind !== but).map((l) => l.text).join('\n');

it('gives both texts back, whatever they are', () => {
  let seed = 7;
  const any = (n: number) => (seed = (seed * 48271) % 2147483647) % n; // Lehmer's generator: ACM 31(10), 1988
  for (let round = 0; round < 300; round++) {
    const make = () => Array.from({ length: any(12) }, () => 'abcd'[any(4)]!).join('\n');
    const [was, is] = [make(), make()];
    const lines = differences(was, is);
    expect(text(lines, 'new')).toBe(was);
    expect(text(lines, 'gone')).toBe(is);
    expect(lines.filter((l) => l.was > 0).map((l) => l.was)).toEqual(was.split('\n').map((_, i) => i + 1));
  }
});

it('keeps what is common', () => {
  const lines = differences('a\nb\nc\nd', 'a\nx\nc\nd\ne');
  expect(lines.map((l) => l.kind[0] + l.text).join(' ')).toBe('sa gb nx sc sd ne');
});

it('shows what differs with a little around it, and nothing twice', () => {
  const was = Array.from({ length: 30 }, (_, i) => `line ${i + 1}`);
  const is = was.with(4, 'other').with(6, 'other').with(20, 'other');
  const found = hunks(differences(was.join('\n'), is.join('\n')));
  expect(found.map((h) => h.map((l) => l.was || l.is))).toEqual([
    [3, 4, 5, 5, 6, 7, 7, 8, 9],
    [19, 20, 21, 21, 22, 23],
  ]);
  expect(hunks(differences('a', 'a'))).toEqual([]);
});
