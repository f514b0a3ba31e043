// What the rules of a place say about single cells: the bound of the line on
// the map, and how long is too long.

import type { Hold, Place } from './link/types';

/** Holds that are judged cell by cell. */
function cellHolds(place: Place): Hold[] {
  const sites = new Set(place.sites.map((s) => s.id));
  return place.mat ? place.holds.filter((h) => h.signal.endsWith('.pressure') && !sites.has(h.subject)) : [];
}

/** The bound in mmHg at which the line is drawn, and the rule it is of; without a rule, the bound above which cells count as loaded. */
export function lineAt(place: Place): { limit: number; rule: string | null } {
  let limit = Infinity;
  let rule: string | null = null;
  for (const h of cellHolds(place)) {
    if (h.limit != null && h.limit < limit) [limit, rule] = [h.limit, h.rule];
  }
  return rule === null ? { limit: place.mat?.loaded_above ?? NaN, rule } : { limit, rule };
}

export interface Due {
  rule: string;
  seconds: number;
}

/** After how long each rule about cells is due, shortest first, each rule once. */
export function delays(place: Place): Due[] {
  const seen = new Map<string, number>();
  for (const h of cellHolds(place)) if (h.on_delay_s > 0) seen.set(h.rule, h.on_delay_s);
  return [...seen].map(([rule, seconds]) => ({ rule, seconds })).sort((a, b) => a.seconds - b.seconds);
}

const TWO_HOURS = 7200;

/** What the far end of the ramp stands for: the longest delay of a rule, in seconds. */
export function loadedTop(place: Place): number {
  return delays(place).at(-1)?.seconds ?? TWO_HOURS;
}

/** The same in mmHg: twice the line, and never a scale too fine to be compared. */
export function pressureTop(place: Place): number {
  const { limit } = lineAt(place);
  return Math.max(60, Math.ceil((2 * (limit > 0 ? limit : 30)) / 20) * 20);
}
