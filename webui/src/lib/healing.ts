// Whether the record fills the hole that a lost connection has left. It need
// not: a daemon that was started anew may remember nothing, and a source may
// have been silent as well.

import type { Past } from './link/history';

/** What the record holds of a stretch of time; "nothing" where there was nothing to hold. */
export type Filled = 'all' | 'part' | 'nothing';

/**
 * How much a record holds of the time from `from` to `to`, in ms. What is
 * unknown for at most `slack` ms is no hole. `known` says which series were
 * known before it.
 */
export function filled(past: Past, from: number, to: number, slack: number, known: (name: string) => boolean): Filled {
  const found = past.series.map(({ name, t, mean }): Filled => {
    const is = (i: number) => !Number.isNaN(mean[i]!);
    const first = mean.findIndex((_, i) => is(i) && t[i]! < to);
    if (first < 0) return known(name) ? 'part' : 'nothing';
    // A point says what is so until the next one. What reports every ten
    // seconds may begin ten seconds late.
    let apart = slack;
    let open = NaN; // since when nothing is known
    for (let i = first; i < t.length && t[i]! < to; i++) {
      if (i > first && is(i) && is(i - 1)) apart = Math.max(apart, t[i]! - t[i - 1]!);
      if (!is(i) && Number.isNaN(open)) open = Math.max(from, t[i]!);
      if (!is(i)) continue;
      if (t[i]! - open > slack) return 'part';
      open = NaN;
    }
    return t[first]! - from > apart || to - open > slack ? 'part' : 'all';
  });
  return worst(found);
}

/** What can be said of several together. */
export function worst(list: readonly Filled[]): Filled {
  return (['part', 'all'] as const).find((f) => list.includes(f)) ?? 'nothing';
}
