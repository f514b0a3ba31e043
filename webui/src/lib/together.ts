// Alerts come at once and places up to a second later, or the other way about.
// What a page shows of a place and how many alerts it counts are to agree at
// every moment, so each is told of the other.

import { isAside, isOpen, isOver, isStanding } from './life';
import { byPriority } from './order';
import type { Alert, Place, PlaceNews, PlaceState } from './link/types';

const isShown = (a: Alert) => isOpen(a) || isOver(a) || isAside(a);

/** The alerts of all places, with those that so far only the place itself has told of. */
export function withPlace(alerts: Alert[], place: Place): Alert[] {
  const news = place.alerts.filter((a) => isShown(a) && !alerts.some((b) => b.id === a.id && b.raised_at === a.raised_at));
  return news.length > 0 ? [...news, ...alerts.filter((a) => !isShown(a) || !news.some((b) => b.id === a.id))] : alerts;
}

/** The place, with those among all alerts that are its own and open, over and not acknowledged, or put aside, and no others. */
export function withAlerts(place: Place, alerts: readonly Alert[]): Place {
  const own = alerts.filter((a) => a.place === place.id && isShown(a)).sort(byPriority);
  const open = own.filter(isOpen);
  const holds = place.holds.map((h) => {
    const raised = own.some((a) => isStanding(a) && a.rule === h.rule && a.subject === h.subject);
    return raised === h.raised ? h : { ...h, raised };
  });
  // Its own sentence does not name yet what it has not told of.
  const unsaid = open.find((a) => !place.alerts.some((b) => b.id === a.id));
  const said = place.state === 'alert' || place.state === 'over' ? without(place) : place.state;
  const calm = said === 'building' || said === 'quiet';
  const state = open.length > 0 ? 'alert' : calm && own.some(isOver) ? 'over' : said;
  return { ...place, alerts: own, holds, state, text: unsaid?.text ?? place.text };
}

/** How a place stands apart from its alerts, until it says so itself. */
function without(place: Place): PlaceState {
  if (place.holds.some((h) => h.condition === 'unknown' && !h.waits)) return 'unknown';
  return place.holds.some((h) => h.used >= 0.5) ? 'building' : 'quiet';
}

/** The place as it is now, of what was told of it before and what has changed since. */
export function withNews(place: Place, news: PlaceNews): Place {
  const holds = place.holds.map((h) => news.holds?.find((n) => n.rule === h.rule && n.subject === h.subject) ?? h);
  return { ...place, ...news, holds };
}
