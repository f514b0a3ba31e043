import { describe, expect, it } from 'vitest';
import { channelName, channelParts, matOf, rawUnit } from './channels';
import { units } from './units.svelte';

const mat = { place: 'bed-4', rows: 64, columns: 32, sites: [] };
const regions = () => [
  { id: 'pelvis', rows: [30, 40] as [number, number], columns: [0, 31] as [number, number] },
  { id: 'left_hip', rows: [32, 34] as [number, number], columns: [16, 31] as [number, number] },
];

describe('where a channel is', () => {
  it('is told with rows and columns from 1, the place and its regions', () => {
    expect(channelName(32 * 32 + 18, [mat], () => [regions()[0]!])).toBe('channel 1042: row 33, column 19 (bed-4, pelvis)');
    expect(channelName(32 * 32 + 18, [mat], regions)).toBe('channel 1042: row 33, column 19 (bed-4, pelvis, left hip)');
    expect(channelParts(1042, [mat], regions)).toBe('bed-4, pelvis, left hip');
    expect(channelName(0, [mat], regions)).toBe('channel 0: row 1, column 1 (bed-4)');
  });

  it('is told by site, by every place that uses it, or that none does', () => {
    const wrap = { place: 'bench-1', rows: 0, columns: 0, sites: [{ site: 'inner_ankle', channels: [0, 1] }, { site: 'calf', channels: [1] }] };
    expect(channelName(0, [wrap], () => [])).toBe('channel 0: bench-1, inner ankle');
    expect(channelName(1, [wrap], () => [])).toBe('channel 1: bench-1, inner ankle; bench-1, calf');
    expect(channelName(2, [wrap], () => [])).toBe('channel 2: no place uses it');
    expect(channelName(2048, [mat], regions)).toBe('channel 2048: no place uses it');
    expect(channelParts(1, [wrap], () => [])).toBe('bench-1, inner ankle; bench-1, calf');
    expect(channelParts(2, [wrap], () => [])).toBe('');
    expect(matOf([wrap, mat])).toBe(mat);
    expect(matOf([wrap])).toBeUndefined();
  });
});

// Raw readings are not converted, so that their unit must not be either.
it('a raw reading is in the unit that it came in, whatever pressures are shown in', () => {
  units.pressure = 'kPa';
  expect(['mmHg', 'counts'].map(rawUnit)).toEqual(['mmHg', 'counts']);
  units.pressure = 'mmHg';
});
