import { describe, expect, it } from 'vitest';
import type { Bridge } from './link/equipment';
import { ticks } from './ticks';
import { KPA } from './units.svelte';
import { allOf, channelsOf, gaugeOf, gaugeU, lastRefused, sourcesOf, type Kept, type RefusedCalibration, tally, type Run, type RunChannel } from './calibrate';

describe('channelsOf', () => {
  it('takes numbers and ranges', () => {
    expect(channelsOf('0', 4)).toEqual([0]);
    expect(channelsOf(' 3, 0-1 ,1', 4)).toEqual([0, 1, 3]);
    expect(channelsOf('0–3', 4)).toEqual([0, 1, 2, 3]);
  });
  it('refuses what is no channel', () => {
    for (const typed of ['', 'a', '4', '2-1', '0-4', '1,', '-1', '1.5']) expect(channelsOf(typed, 4)).toBeNull();
  });
});

it('a pressure is typed with a point or a comma', () => {
  expect(['12', ' 10,4 ', '0', '', ' ', '-1', 'a', '1,2,3'].map((t) => gaugeOf(t)?.mmhg ?? null)).toEqual([12, 10.4, 0, null, null, null, null, null]);
});

// The default of the API and of the command is that of 3 mmHg either way: 1.732 mmHg (config/figures/numbers.tsv).
it('a gauge that errs by so much at most has the standard uncertainty of a rectangle, and a gauge without error is none', () => {
  expect(gaugeU(3)).toBeCloseTo(1.732, 3);
  expect([null, 0, -1, NaN, 30.1].map(gaugeU)).toEqual([null, null, null, null, null]);
  expect(gaugeU(4 / KPA)).toBeCloseTo(17.3, 1); // the limit, as kPa say it
});

it('sources are those of all bridges, and all of one are a range', () => {
  const list = [{ id: 'hub', sources: [{ id: 'hub/leg', channels: 4 }] }, { id: 'new', sources: null }, { id: 'b', sources: [{ id: 'b/s', channels: 1 }] }] as unknown as Bridge[];
  const all = sourcesOf(list);
  expect(all).toEqual([{ bridge: 'hub', id: 'hub/leg', name: 'leg', channels: 4 }, { bridge: 'b', id: 'b/s', name: 's', channels: 1 }]);
  expect([...all, undefined].map(allOf)).toEqual(['0-3', '0', '0']);
  expect(sourcesOf(null)).toEqual([]);
});

it('counts states, trouble first', () => {
  const channel = (state: RunChannel['state']) => ({ state }) as RunChannel;
  const run = { channels: [channel('settled'), channel('silent'), channel('settled')] } as Run;
  expect(tally(run)).toEqual([{ state: 'silent', count: 1 }, { state: 'settled', count: 2 }]);
});

it('ticks are round and within', () => {
  expect(ticks(0, 100, 5)).toEqual([0, 20, 40, 60, 80, 100]);
  expect(ticks(87, 933, 5)).toEqual([200, 400, 600, 800]);
  expect(ticks(0.1, 0.42, 4)).toEqual([0.1, 0.2, 0.3, 0.4]);
  expect(ticks(3, 3, 5)).toEqual([]);
});

it('what was refused last is shown until something has come into force since', () => {
  const at = (minute: number) => new Date(Date.UTC(2026, 2, 1, 9, minute)).toISOString();
  const of = (id: string, channel: number, minute: number) => ({ id, bridge: 'hub', source: 'leg', channel, at: at(minute) });
  const kept = [of('k0', 0, 10), of('k2', 2, 10)] as Kept[];
  const refused = [of('a', 10, 1), of('b', 0, 5), of('c', 2, 11), of('d', 10, 12)] as RefusedCalibration[];
  expect(lastRefused(kept, refused).map((r) => r.id)).toEqual(['c', 'd']);
});

it('who says the unit of a pressure is sure of it', () => {
  expect(['40', '10,4', ' 5.3 mmHg '].map(gaugeOf)).toEqual([{ mmhg: 40, sure: false }, { mmhg: 10.4, sure: false }, { mmhg: 5.3, sure: true }]);
  for (const typed of ['5.3 kPa', '5,3kpa']) {
    expect(gaugeOf(typed)?.mmhg).toBeCloseTo(39.753, 3);
    expect(gaugeOf(typed)?.sure).toBe(true);
  }
  expect(['', 'kPa', '5 psi', '-3', '1,2,3'].map(gaugeOf)).toEqual([null, null, null, null, null]);
});
