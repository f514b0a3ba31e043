import { afterEach, describe, expect, it } from 'vitest';
import { bare, bound, difference, fine, quantity, targetWords, unbroken, unitName } from './format';
import { KPA, PressureField, pressureShown, saidInUnit, units, unitShown } from './units.svelte';

afterEach(() => (units.pressure = 'mmHg'));
const inKPa = <T>(f: () => T): T => {
  units.pressure = 'kPa';
  return f();
};

it('a millimetre of mercury is what NIST SP 811 (2008), appendix B.8, says', () => {
  // "millimeter of mercury, conventional (mmHg)" to pascal: 1.333 224 E+02.
  expect(KPA * 1000).toBeCloseTo(133.3224, 4);
  // Its definition there: 13.5951 g/cm³ and 9.806 65 m/s².
  expect(KPA).toBeCloseTo(13.5951 * 9.80665 / 1000, 10);
  expect(1 / KPA).toBeCloseTo(7.50062, 5);
});

it('pressures are shown in mmHg until somebody wants kPa', () => {
  expect(quantity(41.23, 1.8, 'mmHg')).toBe('41 ± 2 mmHg');
  expect(pressureShown(40)).toBe(40);
  expect(saidInUnit('ankle above 60 mmHg')).toBe('ankle above 60 mmHg');
});

describe('in kPa', () => {
  it('a value has one decimal more, which says as much', () =>
    inKPa(() => {
      expect(quantity(41.23, 1.8, 'mmHg')).toBe('5.5 ± 0.2 kPa');
      expect(quantity(41.23, 0.4, 'mmHg')).toBe('5.50 ± 0.05 kPa');
      expect(quantity(-3.2, null, 'mmHg')).toBe('−0.43 kPa');
      expect(quantity(null, 1, 'mmHg')).toBe('— not known');
      expect(bare(60, 2, 'mmHg')).toBe('8.0');
      expect(bound(32, 'mmHg')).toBe('4.3 kPa');
      expect(bound(9.4, 'mmHg')).toBe('1.25 kPa');
      // Steps of a cuff that were set as 1.4 kPa, as they are or to a tenth of a mmHg.
      expect([1.4 / KPA, 10.5, 21].map((mmHg) => bound(mmHg, 'mmHg'))).toEqual(['1.4 kPa', '1.4 kPa', '2.8 kPa']);
      expect(targetWords([35, 45])).toBe('4.7 to 6.0 kPa');
      expect(difference(-2, 'mmHg')).toBe('−0.27 kPa');
      expect(fine(1.84, 'mmHg')).toBe('0.25 kPa');
    }));

  it('what is no pressure stays as it is', () =>
    inKPa(() => {
      expect(quantity(120, null, 'cm2')).toBe('120 cm²');
      expect(quantity(0.42, 0.02, '1')).toBe('0.4 ± 0.0');
      expect(unitName('mmHg/min')).toBe('kPa/min');
      expect(unitShown('N')).toBe('N');
    }));

  it('what is typed comes back as it was, to a millionth', () =>
    inKPa(() => {
      const field = new PressureField(null);
      const typed = (shown: number) => ((field.shown = shown), field.mmHg);
      for (const mmHg of [0, 1, 32, 60, 299.9]) expect(typed(pressureShown(mmHg))).toBeCloseTo(mmHg, 6);
      expect(typed(13.3)).toBeCloseTo(99.76, 2);
    }));

  // Sentences as rules/text.go makes them.
  it.each([
    ['ankle above 60 mmHg for 30 s: 64 ± 2 mmHg when raised', 'ankle above 8.0 kPa for 30 s: 8.5 ± 0.3 kPa when raised'],
    ['calf no longer outside 15 to 25 mmHg: 20 ± 2 mmHg; the alert stood for 2 min', 'calf no longer outside 2.0 to 3.3 kPa: 2.7 ± 0.3 kPa; the alert stood for 2 min'],
    ['pelvis above 32 mmHg for 2 h: 32.4 mmHg when raised, cell in row 12, column 3', 'pelvis above 4.3 kPa for 2 h: 4.32 kPa when raised, cell in row 12, column 3'],
    ['ankle more than 9.4 mmHg below where it settled: 30 mmHg at rest', 'ankle more than 1.25 kPa below where it settled: 4.0 kPa at rest'],
    ['calf falls: -3.1 mmHg per min over 10 min, now 20 mmHg', 'calf falls: -0.41 kPa per min over 10 min, now 2.7 kPa'],
    ['ankle rises: +12 mmHg per min', 'ankle rises: +1.6 kPa per min'],
    ['ankle ankle ± of 4 channels: loses 12 % of its frames', 'ankle ankle ± of 4 channels: loses 12 % of its frames'],
  ])('%s', (said, shown) => inKPa(() => expect(saidInUnit(said)).toBe(shown)));

  it('no line ends before the unit', () => inKPa(() => expect(unbroken(saidInUnit('at 60 mmHg'))).toBe('at 8.0\u00a0kPa')));
});

// A gauge that errs by 3 mmHg does not err by 3 kPa because somebody looks at it in kPa.
it('what stands in a field stays the same pressure when the unit is changed, and back', () => {
  const [begun, round, typed, none] = [new PressureField(35), new PressureField({ mmHg: 100, kPa: 14 }), new PressureField(3), new PressureField(null)];
  typed.shown = 1;
  const seen = () => [begun, round, typed, none].map((f) => f.shown);
  expect(seen()).toEqual([35, 100, 1, null]);
  units.pressure = 'kPa';
  expect(seen()).toEqual([4.67, 14, 0.133, null]);
  expect([begun.mmHg, typed.mmHg, none.mmHg]).toEqual([35, 1, null]);
  expect(round.mmHg).toBeCloseTo(105.01, 2);
  typed.shown = 4;
  units.pressure = 'mmHg';
  expect(seen()).toEqual([35, 100, 30, null]);
  expect([round.mmHg, typed.mmHg]).toEqual([100, 4 / KPA]);
  typed.shown = null;
  expect(typed.mmHg).toBeNull();
});
