import { expect, test } from 'vitest';

import { reserved } from './trust';

test('a value says why it is less than it seems', () => {
  const at = { value: 41, u: 2, unit: 'mmHg', at: null };
  expect(reserved(at)).toBe('');
  expect(reserved(undefined)).toBe('');
  expect(reserved({ ...at, extrapolated: true })).toBe('extrapolated: beyond what was calibrated');
  expect(reserved({ ...at, expired: true, extrapolated: true })).toBe('extrapolated: beyond what was calibrated, past the date of its calibration');
  expect(reserved({ ...at, value: null, expired: true })).toBe('');
});
