import { expect, test } from 'vitest';

import { aimed, bandOf, byCode, doings, pressing, Waiting, type Attempt, type Step } from './bench';
import { targetWords } from './format';
import type { Place } from './link/types';
import { stance } from './stance';

const place = { sites: [], signals: {} } as unknown as Place;

const rests = (level: number) => [level, NaN, 1, 0];
const walks = [NaN, 16, 0, 1];

test('a step is read by itself once it has lasted, without a break', () => {
  const w = new Waiting();
  const look = (s: number, step: Step, doing: number[], lay = NaN) => w.look(1000 * s, step, doing, lay);
  expect(doings('ankle').slice(0, 2)).toEqual(['ankle.resting', 'ankle.swing']);
  expect([look(0, 'lying', rests(40)), look(4, 'lying', rests(40)), look(4.5, 'lying', walks), look(5, 'lying', rests(40)), look(9.9, 'lying', rests(40))]).toEqual([false, false, false, false, false]);
  expect(look(10, 'lying', rests(40))).toBe(true);
  w.again();
  expect(look(11, 'lying', rests(40))).toBe(false);
  expect(look(16, 'lying', rests(40))).toBe(true);
  expect([look(20, 'walking', walks), look(27, 'walking', walks), look(28, 'walking', walks)]).toEqual([false, false, true]);
  // What only a person can tell is never read by itself.
  expect([look(30, 'applied', rests(40)), look(99, 'applied', rests(40))]).toEqual([false, false]);
});

test('a leg that still lies is not read as one that stands', () => {
  const w = new Waiting();
  const look = (s: number, level: number, lay = 40) => w.look(1000 * s, 'standing', rests(level), lay);
  expect([look(0, 40), look(60, 40), look(61, 58), look(90, 58)]).toEqual([false, false, false, false]); // a turn that was put on has not moved it
  look(91, NaN);
  expect([look(92, 41), look(99, 41)]).toEqual([false, false]); // it moved, and lies again
  expect([look(100, 58), look(103, 58)]).toEqual([false, true]);
  expect(look(110, 58, NaN)).toBe(false);
});

// A leg that stood while lying was read rises no more: the step would wait for ever, and nobody knew for what.
test('says what it waits for where a leg that is to stand is still and no higher', () => {
  const w = new Waiting();
  const look = (s: number, doing: number[], lay = 40) => (w.look(1000 * s, 'standing', doing, lay), w.lacks);
  expect([look(0, rests(41)), look(9.9, rests(41)), look(10, rests(41))]).toEqual(['', '', 'rise']);
  expect(look(11, walks)).toBe(''); // it gets up
  expect([look(12, rests(58)), look(30, rests(58))]).toEqual(['', '']);
  expect([look(40, rests(58), NaN), look(50, rests(58), NaN)]).toEqual(['', 'lying']);
  w.again();
  expect(w.lacks).toBe('');
});

// Where the page was loaded anew, or it stood up while the step before was read, the pressure has risen, and nothing waits for that.
test('says of a leg that is higher than lying, and was not seen to move, that it was not seen to move', () => {
  const w = new Waiting();
  for (const s of [0, 10]) w.look(1000 * s, 'standing', rests(58), 40);
  expect(w.lacks).toBe('motion');
});

// Short steps at a bench press too little to be told: the step would wait for ever here too.
test('says of a leg that is to walk, and moves, that its strides cannot be told', () => {
  const w = new Waiting();
  const shuffles = [NaN, NaN, 0, 0];
  const look = (s: number, doing: number[]) => (w.look(1000 * s, 'walking', doing, 40), w.lacks);
  expect([look(0, rests(40)), look(60, rests(40))]).toEqual(['', '']); // it has not begun
  expect([look(61, shuffles), look(80.9, shuffles), look(81, shuffles)]).toEqual(['', '', 'strides']);
  expect([look(82, walks), look(83, shuffles), look(102.9, shuffles), look(103, shuffles)]).toEqual(['', '', '', 'strides']);
  expect(look(104, [NaN, NaN, NaN, NaN])).toBe(''); // nothing is known
});

test('bands that are open are said and drawn as such', () => {
  expect(bandOf({ low: 49, high: null })).toEqual([49, Infinity]);
  expect(bandOf({ low: null, high: 20 })).toEqual([0, 20]);
  expect(bandOf({ low: null, high: null })).toBeNull();
  expect(targetWords([49, Infinity])).toBe('49 mmHg or more');
  expect(targetWords([0, 20])).toBe('up to 20 mmHg');
  expect(['over', 'inside', 'under', 'unknown', 'free']).toEqual([stance([0, 20], 21), stance([49, Infinity], 60), stance([35, 45], 34.9), stance(null, null), stance(null, 40)]);
});

test('sites are drawn from the top down, and people are in the order of their codes', () => {
  const a = { plan: { sites: [{ id: 'ankle', height_cm: 12, girth_cm: 22, low: 35, high: 45 }, { id: 'calf', height_cm: 31, girth_cm: null, low: null, high: null }] } } as unknown as Attempt;
  expect(aimed(a, place).map((s) => [s.id, s.target, s.calibrated])).toEqual([['calf', null, false], ['ankle', [35, 45], false]]);
  const of = (code: string, id: string) => ({ code, id }) as Attempt;
  expect(byCode([of('K-10', '1'), of('K-9', '2'), of('K-10', '3')]).map((g) => [g.label, g.attempts.map((x) => x.id)])).toEqual([['K-9', ['2']], ['K-10', ['1', '3']]]);
});

// Holds that a page says of bare sensors now what the daemon says once they are read: more than
// 5 mmHg off either way (rules/attempt, bareWithin), and nothing of one that is not known.
test('a leg that is wrapped already is seen before its sensors are read as bare', () => {
  expect(pressing([5, 5.1, -5, -5.1, NaN, 0, 40])).toEqual([1, 3, 6]);
  expect(pressing([])).toEqual([]);
});
