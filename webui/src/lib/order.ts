// In which order places are shown. By place is the order of the ward, with
// numbers read as numbers. By urgency is worked out when it is asked for and
// then left alone, so that no row moves under a finger.

import { instant } from './format';
import { isAside, isOpen } from './life';
import type { Place, Priority } from './link/types';

const collator = new Intl.Collator('en', { numeric: true });

const PRIORITY: Record<Priority, number> = { high: 0, medium: 1, low: 2 };

/** The rule whose limit is reached next if things stay as they are, and when in ms; Infinity, and no rule, if none will be. */
export function dueNext(place: Place): { due: number; rule: string } {
  let next = { due: Infinity, rule: '' };
  for (const hold of place.holds) {
    const at = hold.raised ? NaN : instant(hold.due_at);
    if (at < next.due) next = { due: at, rule: hold.rule };
  }
  return next;
}

export const nextDue = (place: Place): number => dueNext(place).due;

/** The place whose next limit is reached first, the first of equals, and when in ms; undefined where none will be. */
export function soonest(places: readonly Place[]): { place: Place; due: number } | undefined {
  let first: { place: Place; due: number } | undefined;
  for (const place of places) {
    const due = nextDue(place);
    if (due < (first?.due ?? Infinity)) first = { place, due };
  }
  return first;
}

/** The gravest priority among the open alerts of a place, null if there is none. */
export function worst(place: Place): Priority | null {
  let found: Priority | null = null;
  for (const a of place.alerts) {
    if (isOpen(a) && (found === null || PRIORITY[a.priority] < PRIORITY[found])) found = a.priority;
  }
  for (const h of place.holds) {
    const aside = place.alerts.some((a) => a.rule === h.rule && a.subject === h.subject && isAside(a));
    if (h.raised && !aside && (found === null || PRIORITY[h.priority] < PRIORITY[found])) found = h.priority;
  }
  return found;
}

/** Alerts by priority; then places about which nothing is known, since silence is no safety; then those where somebody still has to look at what is over; then by what is due. */
function rank(place: Place): number {
  const priority = worst(place);
  if (priority) return PRIORITY[priority];
  switch (place.state) {
    case 'alert':
      return 2;
    case 'unknown':
      return 3;
    case 'over':
      return 4;
    case 'uncalibrated':
      return 5;
    case 'building':
    case 'quiet':
      return 6;
  }
}

function since(place: Place): number {
  return Math.min(...place.holds.filter((h) => h.raised).map((h) => instant(h.since)), Infinity);
}

/** Names in the order of the ward. */
export const byName = (a: string, b: string): number => collator.compare(a, b);

export function byPlace(a: Place, b: Place): number {
  return collator.compare(a.id, b.id);
}

export function byUrgency(a: Place, b: Place): number {
  const before = (x: number, y: number) => (x < y ? -1 : x > y ? 1 : 0);
  return rank(a) - rank(b) || before(since(a), since(b)) || before(nextDue(a), nextDue(b)) || byPlace(a, b);
}

/** Alerts, those that nobody has first, what is over and what is put aside last, of these the gravest, and of these the longest standing. */
export function byPriority(a: { priority: Priority; raised_at: string | null; id: string; state?: string }, b: typeof a): number {
  const had = (x: typeof a) => ({ acknowledged: 1, 'returned-unacknowledged': 2, shelved: 3, suppressed: 3, 'out-of-service': 3 })[x.state ?? ''] ?? 0;
  return had(a) - had(b) || PRIORITY[a.priority] - PRIORITY[b.priority] || instant(a.raised_at) - instant(b.raised_at) || collator.compare(a.id, b.id);
}

/**
 * Keeps an order that somebody is looking at: places that are gone drop out,
 * new ones are added at the end.
 */
export function keepOrder(shown: readonly string[], present: readonly string[]): string[] {
  const there = new Set(present);
  const kept = shown.filter((id) => there.has(id));
  const old = new Set(kept);
  return [...kept, ...present.filter((id) => !old.has(id))];
}
