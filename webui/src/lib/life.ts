// The states of an alert, in the words of ISA-18.2, and what they ask of people.

import { instant } from './format';
import type { Alert, AlertState } from './link/types';

const OPEN: AlertState[] = ['unacknowledged', 'latched', 'acknowledged'];
const ASIDE: AlertState[] = ['shelved', 'suppressed', 'out-of-service'];

/** It asks for somebody, or somebody has it. */
export const isOpen = (a: Alert) => OPEN.includes(a.state);

/** Nobody has it yet. */
export const isCalling = (a: Alert) => a.state === 'unacknowledged' || a.state === 'latched';

/** It is measured, and nobody is called. */
export const isAside = (a: Alert) => ASIDE.includes(a.state);

/** It ended by itself and nobody has acknowledged it: somebody still has to look, and nobody is called. */
export const isOver = (a: Alert) => a.state === 'returned-unacknowledged';

const HOUR = 3_600_000;

/** Whether the daemon still lists it: what is over for a shift from when it ended, however often it was put aside since, and what is done with for an hour. */
export function lasts(a: Alert, now: number): boolean {
  if (isOpen(a) || isAside(a) || Number.isNaN(now)) return true;
  return isOver(a) ? now - instant(a.cleared_at) < 12 * HOUR : now - instant(a.since) < HOUR;
}

/** It has been raised, and is not over. */
export const isStanding = (a: Alert) => a.raised_at != null && a.cleared_at == null;

/** One that is worth a line: an empty bed has many that are put aside by design and do not stand. */
export const isListed = (a: Alert) => isOpen(a) || isOver(a) || (isAside(a) && (a.state !== 'suppressed' || isStanding(a)));

export type Verb = 'acknowledge' | 'shelve' | 'unshelve' | 'out-of-service' | 'in-service';

/** What can be done with an alert, the most likely first. */
export function verbs(a: Alert): Verb[] {
  switch (a.state) {
    case 'unacknowledged':
    case 'latched':
    case 'returned-unacknowledged':
      return ['acknowledge', 'shelve', 'out-of-service'];
    case 'acknowledged':
    case 'suppressed':
      return ['shelve', 'out-of-service'];
    case 'shelved':
      return ['unshelve', 'out-of-service'];
    case 'out-of-service':
      return ['in-service'];
    case 'normal':
      return [];
  }
}

/** For how long an alert can be shelved, in minutes; the most is 8 h. */
export const SHELVES = [10, 30, 60, 120, 240, 480];
