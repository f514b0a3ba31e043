// Alerts come at once and places up to a second later, or the other way about.
// What a page shows of a place and how many alerts it counts are to agree at
// every moment, so each is told of the other.

import { byPriority } from './order';
import type { Alert, Place, PlaceState } from './link/types';

export const isOpen = (a: Alert) => a.cleared_at == null;

/** The alerts of all places, with those that so far only the place itself has told of. */
export function withPlace(alerts: Alert[], place: Place): Alert[] {
  const news = place.alerts.filter((a) => isOpen(a) && !alerts.some((b) => b.id === a.id && b.raised_at === a.raised_at));
  return news.length > 0 ? [...news, ...alerts.filter((a) => !isOpen(a) || !news.some((b) => b.id === a.id))] : alerts;
}

/** The place, with the open ones among all alerts that are its own, and no others. */
export function withAlerts(place: Place, alerts: readonly Alert[]): Place {
  const open = alerts.filter((a) => a.place === place.id && isOpen(a)).sort(byPriority);
  const holds = place.holds.map((h) => {
    const raised = open.some((a) => a.rule === h.rule && a.subject === h.subject);
    return raised === h.raised ? h : { ...h, raised };
  });
  // Its own sentence does not name yet what it has not told of.
  const unsaid = open.find((a) => !place.alerts.some((b) => b.id === a.id));
  const state = open.length > 0 ? 'alert' : place.state === 'alert' ? without(place) : place.state;
  return { ...place, alerts: open, holds, state, text: unsaid?.text ?? place.text };
}

/** How a place stands whose last alert has been cleared, until it says so itself. */
function without(place: Place): PlaceState {
  if (place.holds.some((h) => h.condition === 'unknown')) return 'unknown';
  return place.holds.some((h) => h.used >= 0.5) ? 'building' : 'quiet';
}
