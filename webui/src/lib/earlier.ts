// What sites showed an hour ago or, where the record is younger, at its
// beginning.

import { readPast } from './link/history';

const HOUR = 3_600_000;
const MINUTE = 60_000;

export interface Earlier {
  /** ms since the epoch. */
  at: number;
  /** In the order of the names; NaN unknown. */
  values: number[];
}

/** Null where the record is too young for a comparison. */
export async function earlier(place: string, names: readonly string[], now: number): Promise<Earlier | null> {
  const past = await readPast(place, names, now - HOUR, now - MINUTE, 60);
  const t = past.series[0]?.t ?? new Float64Array();
  for (let i = 0; i < t.length; i++) {
    const values = names.map((name) => past.series.find((s) => s.name === name)?.mean[i] ?? NaN);
    if (values.every((v) => !Number.isNaN(v))) return { at: t[i]!, values };
  }
  return null;
}
