// @vitest-environment happy-dom
import { describe, expect, it } from 'vitest';
import { batteryLow, batteryWords, concerns } from './concerns';
import { newBridge, newSource } from './testsource';

describe('what needs a look', () => {
  it('is nothing where all is well', () => {
    const source = newSource('trolley/leg', { battery: 80, battery_text: 'Battery 80 %.', battery_state: 'measuring', gaps: 3 });
    expect(concerns([newBridge('trolley', [source])])).toEqual([]);
  });

  it('is each thing once, faults first, with the way there', () => {
    const bridges = [
      newBridge('hub', [
        newSource('hub/mat1', { calibrated: false }),
        newSource('hub/spare', { calibrated: false, feeds: [] }),
        newSource('hub/mat2', { health: { text: '2 of 64 cells are dead.', left_out: 2, untried: 0, findings: [] } }),
        newSource('hub/mat3', { battery: 12, battery_state: 'falling', battery_text: 'Battery 12 %, about 9 h left.', battery_left_s: 9 * 3600 }),
      ]),
      newBridge('trolley', [newSource('trolley/leg', { trouble: 'nothing from it for 12s' })], {
        trouble: 'there is no port', trouble_since: '2025-11-24T10:00:00Z', next_try_at: '2025-11-24T10:00:30Z',
        unknown_sources: [{ number: 9, frames: 1, first_at: '', last_at: '', channels: 4, first_readings: [], readings: [] }],
      }),
    ];
    expect(concerns(bridges).map((c) => [c.sort, c.where, c.href])).toEqual([
      ['fault', 'trolley', '#bridge-trolley'],
      ['fault', 'trolley/leg', '/setup/trolley/leg'],
      ['battery', 'hub/mat3', '/setup/hub/mat3'],
      ['channels', 'hub/mat2', '/setup/hub/mat2'],
      ['stranger', 'trolley', '#unknown-trolley-9'],
      ['uncalibrated', 'hub/mat1', '/setup/hub/mat1'],
    ]);
    expect(concerns(bridges)[2]!.text).toBe('Battery 12 %, about 9 h left.');
    expect(concerns(bridges)[5]!.text).toBe('Not calibrated: bench-1 shows no pressure.');
  });

  it('is a link that waits even if it says no more, and a capture that has stopped', () => {
    const found = concerns([newBridge('a', [], { state: 'waiting' }), newBridge('b', [], { capture: { file: 'x', bytes: 0, error: 'disk full' } })]);
    expect(found.map((c) => c.text)).toEqual(['waiting to try again', 'The capture of raw bytes has stopped: disk full']);
  });
});

describe('a battery', () => {
  it('is low when it is nearly empty or does not last the night, and not while it is charged', () => {
    expect(batteryLow(newSource('a', { battery: 15 }))).toBe(true);
    expect(batteryLow(newSource('a', { battery: 16 }))).toBe(false);
    expect(batteryLow(newSource('a', { battery: 40, battery_left_s: 11 * 3600 }))).toBe(true);
    expect(batteryLow(newSource('a', { battery: 5, battery_state: 'charging' }))).toBe(false);
    expect(batteryLow(newSource('a'))).toBe(false);
  });

  it('is told in the words that there are', () => {
    expect(batteryWords(newSource('a', { battery: 12, battery_text: 'Battery 12 %, about 9 h left.' }))).toBe('12 %, about 9 h left');
    expect(batteryWords(newSource('a', { battery: 12.4 }))).toBe('12 %');
    expect(batteryWords(newSource('a', { battery_v: 3.712 }))).toBe('3.71 V');
    expect(batteryWords(newSource('a'))).toBe('');
  });
});
