import { describe, expect, it } from 'vitest';
import { setZone } from './format';
import { AGAIN, hindrances, keyIn, Nudger, saying, type SeatNow } from './myseat';

setZone('UTC');

const now = (more: Partial<SeatNow>): SeatNow => ({
  place: 'seat-1', at: '2026-03-01T12:00:00Z', heard: '2026-03-01T12:00:00Z', zone: 'UTC', state: 'seated',
  since_s: 600, interval_s: 1800, due_at: '2026-03-01T12:20:00Z', easing_s: 0, lasting_s: 0, ...more,
});

describe('what my seat says', () => {
  it('empties while seated', () => {
    const s = saying(now({}));
    expect(s).toMatchObject({ mode: 'later', answer: 'Not yet. Shift in 20 min.', more: '10 min without a shift. Due at 12:20.' });
    expect(s.bar).toBeCloseTo(2 / 3);
  });
  it('is due at the interval, and says for how long', () => {
    expect(saying(now({ since_s: 1800 }))).toMatchObject({ mode: 'due', answer: 'Shift now.', more: 'It is due.', bar: 0 });
    expect(saying(now({ since_s: 1980 })).more).toBe('It has been due for 3 min.');
  });
  it('refills while a shift is held, from where it was, and never falls on the way', () => {
    let before = saying(now({ since_s: 1500 })).bar!;
    for (const easing_s of [0, 5, 10, 14.9]) {
      const s = saying(now({ state: 'easing', since_s: 1500, easing_s, lasting_s: 15 }));
      expect(s.mode).toBe('easing');
      expect(s.bar).toBeGreaterThanOrEqual(before);
      before = s.bar!;
    }
    expect(saying(now({ state: 'easing', easing_s: 9.5, lasting_s: 15 })).answer).toBe('Keep it up: 6 s more.');
    expect(saying(now({ state: 'easing', since_s: 0, easing_s: 15, lasting_s: 15 }))).toMatchObject({ mode: 'counts', bar: 1, more: 'Sit back when you like.' });
  });
  it('does not take silence for an answer', () => {
    const s = saying(now({ state: 'unknown', since_s: null, due_at: null, heard: '2026-03-01T11:42:00Z' }));
    expect(s).toMatchObject({ mode: 'unknown', bar: null, answer: 'Nobody can tell.' });
    expect(s.more).toContain('since 11:42');
    expect(saying(now({ state: 'unknown', since_s: null, heard: null })).more).toContain('yet');
  });
  it('has no bar where nobody sits, and where no rule says how long', () => {
    expect(saying(now({ state: 'away', due_at: null })).bar).toBeUndefined();
    expect(saying(now({ interval_s: null, due_at: null }))).toMatchObject({ mode: 'open', answer: 'Seated for 10 min.', bar: undefined });
  });
});

describe('when my seat nudges', () => {
  const told = (modes: [Parameters<Nudger['look']>[0], number][]) => {
    const n = new Nudger();
    return modes.map(([mode, at]) => n.look(mode, at));
  };
  it('once when it is due, again after a while, and not while a shift is held', () => {
    expect(told([['later', 0], ['due', 1000], ['due', 2000], ['due', AGAIN], ['due', AGAIN + 1000], ['easing', AGAIN + 2000], ['due', AGAIN + 3000]])).toEqual([null, 'due', null, null, 'due', null, null]);
  });
  it('says when a shift counts, but not to who has just opened the page', () => {
    expect(told([['counts', 0], ['later', 1000], ['easing', 2000], ['counts', 3000], ['counts', 4000]])).toEqual([null, null, null, 'counts', null]);
  });
  it('nudges a page that is opened when it is due, and not again for a hole in the readings', () => {
    expect(told([['due', 0], ['unknown', 1000], ['due', 2000]])).toEqual(['due', null, null]);
  });
  it('nudges anew at the next time', () => {
    expect(told([['due', 0], ['easing', 1000], ['counts', 2000], ['later', 3000], ['due', 4000]])).toEqual(['due', null, 'counts', null, 'due']);
  });
});

describe('what keeps it from nudging', () => {
  it('is nothing as long as one way is open', () => {
    expect(hindrances('on', 'off')).toEqual([]);
    expect(hindrances('none', 'on')).toEqual([]);
  });
  it('is said in plain words', () => {
    expect(hindrances('none', 'off')).toEqual(['this browser cannot vibrate', 'sound is off']);
    expect(hindrances('blocked', 'blocked')).toHaveLength(2);
  });
});

it('finds keys in addresses and nothing else', () => {
  const key = 'ABCDEFGHIJKLMNOPQRSTUVWX23';
  expect(keyIn(`#${key}`)).toBe(key);
  for (const none of ['', '#', '#today', `#${key.slice(1)}`, `#${key.toLowerCase()}`, `#x=${key}`]) expect(keyIn(none)).toBe('');
});
