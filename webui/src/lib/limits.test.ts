import { expect, it } from 'vitest';
import { graduation } from './graduation';
import { delays, lineAt, loadedTop, pressureTop } from './limits';
import { hold, place, site } from './testplace';

const mat = { rows: 2, columns: 2, regions: [], loaded_above: 20, calibrated: true };

it('the line is at the lowest limit of a rule about cells', () => {
  const bed = place('b', { mat, holds: [hold({ limit: 60 }), hold({ rule: 'spot', subject: 'mat', signal: 'mat.pressure', limit: 32 }), hold({ signal: 'mat.peak', limit: 5 })] });
  expect(lineAt(bed)).toEqual({ limit: 32, rule: 'spot' });
  expect(pressureTop(bed)).toBe(80);
});

it('without a known limit it is where cells begin to count as loaded', () => {
  expect(lineAt(place('b', { mat, holds: [hold({ limit: null })] }))).toEqual({ limit: 20, rule: null });
  expect(loadedTop(place('b', { mat }))).toBe(7200);
});

it('sites are not cells', () => {
  const both = place('b', { mat, sites: [site('ankle', 12)], holds: [hold({ subject: 'ankle', signal: 'ankle.pressure', limit: 10 })] });
  expect(lineAt(both).rule).toBeNull();
  expect(delays(both)).toEqual([]);
});

it('the ramp ends at the longest delay, and each rule is named once', () => {
  const bed = place('b', { mat, holds: [hold({ on_delay_s: 1800, rule: 'long' }), hold({ on_delay_s: 40 }), hold({ on_delay_s: 40, subject: 'heels', signal: 'heels.pressure' })] });
  expect(delays(bed)).toEqual([{ rule: 'long-load', seconds: 40 }, { rule: 'long', seconds: 1800 }]);
  expect(loadedTop(bed)).toBe(1800);
});

const leg = (ankle: number | null, calf: number | null) => {
  const sites = [site('calf', 31), site('ankle', 12)];
  const signal = (value: number | null) => ({ value, u: 1.5, unit: 'mmHg', at: null });
  return graduation(place('l', { sites, signals: { 'ankle.pressure': signal(ankle), 'calf.pressure': signal(calf) } }), sites);
};

it('graduation is said with its numbers, or said not to be known', () => {
  expect(leg(41, 20)).toBe('Pressure falls from 41 at the ankle to 20 mmHg at the calf.');
  expect(leg(20, 41)).toMatch(/does not fall: 20 at the ankle, 41 mmHg at the calf/);
  expect(leg(41, null)).toMatch(/not known/);
});
