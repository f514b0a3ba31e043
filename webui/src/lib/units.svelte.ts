// Pressures as people read and type them, in mmHg or kPa. Everything that is kept,
// sent, configured and judged is in mmHg: this is the one place where it becomes
// something else, and comes back from it.

import { repaint } from './loop';
import { remember } from './remember';

export const UNITS = ['mmHg', 'kPa'] as const;
export type PressureUnit = (typeof UNITS)[number];

/**
 * kPa of one conventional millimetre of mercury: 13.5951 g/cm³ times 9.80665 m/s²
 * times 1 mm. NIST SP 811 (2008), B.8 and B.9, gives it as 1.333 224 E-01.
 */
export const KPA = 0.133322387415;

const KEY = 'weald.pressure';

class Units {
  pressure = $state<PressureUnit>(remember(KEY) === 'kPa' ? 'kPa' : 'mmHg');

  choose(unit: PressureUnit): void {
    this.pressure = unit;
    remember(KEY, unit);
    repaint();
  }
}

/** The unit that this browser shows pressures in. */
export const units = new Units();

const PRESSURE = /^mmHg/;

/** The unit in which something that the daemon has in `unit` is shown: "mmHg/min" as "kPa/min". */
export const unitShown = (unit: string) => unit.replace(PRESSURE, units.pressure);

/** How many of the shown unit one of the daemon's is. */
export const factorOf = (unit: string) => (units.pressure === 'kPa' && PRESSURE.test(unit) ? KPA : 1);

/**
 * How many decimals more a value has in the shown unit: 0.1 kPa is 0.75 mmHg, so that
 * one more supports what was said in mmHg, and says nothing new.
 */
export const finer = (unit: string) => (factorOf(unit) === 1 ? 0 : 1);

/** A pressure in mmHg as a bare number in the shown unit: 40 is 40, or 5.33. */
export const pressureShown = (mmHg: number) => (units.pressure === 'kPa' ? mmHg * KPA : mmHg);

/** A pressure in a field, which stays the same pressure where somebody chooses the other unit; null where it is empty. */
export class PressureField {
  #typed = $state.raw<{ value: number | null; unit: PressureUnit } | Record<PressureUnit, number>>({ value: null, unit: 'mmHg' });

  /** It begins with a pressure in mmHg, or with a round number in either unit. */
  constructor(begins: number | null | Record<PressureUnit, number>) {
    this.#typed = typeof begins === 'object' && begins ? begins : { value: begins, unit: 'mmHg' };
  }

  /** What the field shows, in the shown unit. */
  get shown(): number | null {
    const t = this.#typed;
    if (!('unit' in t)) return t[units.pressure];
    if (t.value === null || t.unit === units.pressure) return t.value;
    return short(t.unit === 'kPa' ? t.value / KPA : t.value * KPA);
  }

  set shown(value: number | null) {
    this.#typed = { value, unit: units.pressure };
  }

  get mmHg(): number | null {
    const t = this.#typed;
    const { value, unit } = 'unit' in t ? t : { value: t[units.pressure], unit: units.pressure };
    return value !== null && unit === 'kPa' ? value / KPA : value;
  }
}

/** With as many digits as somebody types. */
const short = (value: number) => Number(value.toPrecision(3));

const NUMBER = String.raw`[-+−]?\d+(?:\.\d+)?(?:e[-+]?\d+)?`;
const SAID = new RegExp(`(?<![\\w.])(${NUMBER})(?:( ± | to )(${NUMBER}))?([  ])mmHg`, 'g');

/** What the daemon says in English, with its pressures in the shown unit. */
export function saidInUnit(sentence: string): string {
  if (units.pressure === 'mmHg') return sentence;
  return sentence.replace(SAID, (_, a: string, between: string | undefined, b: string | undefined, blank: string) =>
    `${converted(a)}${between === undefined ? '' : between + converted(b!)}${blank}kPa`,
  );
}

function converted(number: string): string {
  const decimals = Math.min(3, (/\.(\d+)/.exec(number)?.[1]?.length ?? 0) + 1);
  const text = (Number(number.replace('−', '-')) * KPA).toFixed(decimals);
  return (number.startsWith('+') ? '+' : '') + (number.startsWith('−') ? text.replace('-', '−') : text);
}
