// How the daemon itself is, in sentences.

import { count, duration } from './format';
import { itself as text } from './text.itself';

export interface Condition {
  id: string;
  state: 'well' | 'beyond' | 'raised' | 'unknown' | 'off';
  value: number | null;
  limit: number;
  unit: 's' | 'GB' | '%' | 'd' | 'beats';
  above: boolean;
  after_s: number;
  priority: 'low' | 'medium' | 'high';
  since: string | null;
  text: string;
}

export interface Heartbeat {
  reaches: string;
  every_s: number;
  state: 'well' | 'untried' | 'failing' | 'held';
  taken_at: string | null;
  trouble: string;
  since: string | null;
}

/** What /api/v1/self answers. */
export interface Itself {
  conditions: Condition[];
  heartbeats: Heartbeat[];
}

/** A number of a condition, with as many digits as say anything. */
export function measured(value: number, unit: Condition['unit']): string {
  const shown = unit === 'beats' ? Math.floor(value) : value >= 10 ? Math.round(value) : Math.round(value * 10) / 10;
  return unit === 's' && value >= 120 ? duration(value * 1000) : `${count(shown)} ${text.units[unit]}`;
}

/** What is measured, against its limit: "2 min; an alert above 5 min". */
export function standing(c: Condition): string {
  if (c.state === 'off') return text.off;
  const limit = measured(c.limit, c.unit);
  const now = c.value === null ? text.unknown : measured(Math.max(0, c.value), c.unit);
  return text.against(now, c.above ? text.above(limit) : text.below(limit), c.after_s > 0 ? text.lasting(duration(c.after_s * 1000)) : '');
}

/** How the heartbeat on one way fares; clock tells an instant of the server. */
export function beating(h: Heartbeat, clock: (at: string) => string): string {
  const taken = h.taken_at ? text.taken(clock(h.taken_at)) : text.untaken;
  switch (h.state) {
    case 'held':
      return text.held(h.trouble, taken);
    case 'failing':
      return text.failing(h.trouble, taken);
    default:
      return text.beats(duration(h.every_s * 1000), taken);
  }
}

/** Raised ones first, then what is beyond its limit, then what is not known, as in the answer else. */
const ORDER: Condition['state'][] = ['raised', 'beyond', 'unknown', 'well', 'off'];
export const sorted = (list: readonly Condition[]) => [...list].sort((a, b) => ORDER.indexOf(a.state) - ORDER.indexOf(b.state));
