// How a place stands, as a mark and a word.

import { isCalling, isOpen, isOver } from './life';
import { worst } from './order';
import type { Place } from './link/types';
import { alerts, priorities, states } from './text';

export interface Standing {
  mark: 'high' | 'medium' | 'low' | 'over' | 'building' | 'quiet' | 'unknown' | 'uncalibrated';
  word: string;
  /** The largest share of tolerance that is used and not yet raised. */
  used: number;
}

/** An alert is over there and nobody has acknowledged it, and none is open that calls somebody there in any case. */
export const looks = (place: Place) => place.alerts.some(isOver) && !place.alerts.some(isOpen);

export function standing(place: Place): Standing {
  const used = Math.max(0, ...place.holds.filter((h) => !h.raised).map((h) => h.used));
  const priority = worst(place);
  if (priority) {
    const open = place.alerts.filter(isOpen);
    const had = open.length > 0 && !open.some(isCalling);
    return { mark: priority, word: `${states.alert}, ${alerts.priority(priorities[priority])}${had ? `, ${alerts.states.acknowledged}` : ''}`, used };
  }
  const mark = place.state === 'alert' ? 'low' : place.state;
  const look = place.state !== 'over' && looks(place) ? `, ${states.over}` : '';
  return { mark, word: `${states[place.state]}${look}`, used };
}
