import { expect, it } from 'vitest';
import { alertWords, delayWords, differing, limitWords, nearest, perDay, shade } from './rehearse';

it('makes no rate of less than an hour', () => {
  expect(perDay(3, 3599)).toBeNull();
  expect(perDay(1, 3600)).toBe(24);
  expect(alertWords(1, 600)).toBe('1 alert in 10 min that could be judged');
  expect(alertWords(2, 86_400)).toBe('2 alerts in 24 h that could be judged, 2.0 a day');
});

it('shades nothing with the ground, most with all, and few so that they are seen', () => {
  expect(shade(0, 100)).toBe(0);
  expect(shade(100, 100)).toBe(1);
  expect(shade(1, 100)).toBeGreaterThan(0.1);
  expect(shade(0, 0)).toBe(0);
});

it('says a limit and a delay as people do', () => {
  expect(limitWords(true, 62.5, 'mmHg')).toBe('above 62.5 mmHg');
  expect(limitWords(false, 12, '1')).toBe('below 12');
  expect(delayWords(0)).toBe('at once');
  expect(delayWords(300)).toBe('for 5 min');
});

it('finds today’s rule on the grid', () => expect(nearest([10, 20, 30], 21)).toBe(1));

it('leaves out what other rules say twice, and nothing that differs', () => {
  const episode = { subject: 'ankle', raised_at: '2026-03-01T00:00:00Z', cleared_at: null };
  const of = (rule: string, change: 'comes' | 'stays') => ({ place: 'bench-1', rule, change, before: change === 'comes' ? null : episode, after: episode });
  const all = [of('tight', 'stays'), of('loose', 'stays'), of('loose', 'comes'), of('tight', 'comes')];
  const shown = differing({ scans: 9, changes: all, left_out: 4 }, 'tight');
  expect(shown.changes).toEqual([all[0], all[2], all[3]]);
  expect(shown).toMatchObject({ before: 1, after: 3, counts: { comes: 2, goes: 0, moves: 0, stays: 1 }, left_out: 4 });
});
