// Round numbers along an axis.

import { numeral } from './format';
import { factorOf } from './units.svelte';

/** Round numbers from `low` to `high`, about `most` of them. */
export function ticks(low: number, high: number, most: number): number[] {
  const least = (high - low) / most;
  if (!(least > 0)) return [];
  const power = 10 ** Math.floor(Math.log10(least));
  const by = power * ([1, 2, 5].find((m) => power * m >= least) ?? 10);
  const out: number[] = [];
  for (let i = Math.ceil(low / by); i * by <= high; i++) out.push(Number((i * by).toPrecision(12)));
  return out;
}

export interface Tick {
  /** Where on the axis. */
  at: number;
  label: string;
}

/** Ticks with their numbers; those of pressures, which the axis has in mmHg, are round in the unit that is shown. */
export function marks(low: number, high: number, most: number, unit?: string): Tick[] {
  const factor = factorOf(unit ?? '1');
  return ticks(low * factor, high * factor, most).map((v) => ({ at: v / factor, label: numeral(v) }));
}
