// What an engineer should look at, most pressing first. A ward is quiet where
// there is nothing to say, so what is merely worth knowing is not in here.

import type { Bridge, Source } from './link/equipment';
import { fixed } from './format';
import { sourcePath } from './route.svelte';
import { setup as text } from './text';

export type Sort = 'fault' | 'battery' | 'channels' | 'stranger' | 'uncalibrated';

interface Concern {
  key: string;
  sort: Sort;
  /** A bridge, or bridge/source. */
  where: string;
  text: string;
  /** Where more is said. */
  href: string;
  since: string | null;
  next: string | null;
}

// A battery that does not last the night, or that is nearly empty, is to be
// charged today. Common practice, no source.
const LOW_PERCENT = 15;
const LOW_LEFT_S = 12 * 3600;

export function batteryLow(s: Source): boolean {
  if (s.battery_state === 'charging') return false;
  return s.battery_state === 'empty' || (s.battery != null && s.battery <= LOW_PERCENT) || (s.battery_left_s != null && s.battery_left_s < LOW_LEFT_S);
}

/** What is known of a battery, as part of a sentence: "41 %, about 9 h left". */
export function batteryWords(s: Source): string {
  if (s.battery_text) return s.battery_text.replace(/^Battery /, '').replace(/\.$/, '');
  if (s.battery != null) return `${Math.round(s.battery)} %`;
  return s.battery_v == null ? '' : `${fixed(s.battery_v, 2)} V`;
}

/** The shape beside each; see Mark.svelte. */
export const MARKS = { fault: 'unknown', battery: 'building', channels: 'unknown', stranger: 'unknown', uncalibrated: 'uncalibrated' } as const satisfies Record<Sort, string>;

const ORDER: Sort[] = ['fault', 'battery', 'channels', 'stranger', 'uncalibrated'];

export function concerns(bridges: readonly Bridge[]): Concern[] {
  const found: Concern[] = [];
  for (const b of bridges) {
    const here = { where: b.id, href: `#bridge-${b.id}`, since: null, next: null };
    if (b.trouble || b.state === 'waiting') {
      found.push({ ...here, key: `${b.id} link`, sort: 'fault', text: b.trouble || text.states.waiting!, since: b.trouble_since, next: b.next_try_at });
    }
    if (b.capture?.error) found.push({ ...here, key: `${b.id} capture`, sort: 'fault', text: text.captureStopped(b.capture.error) });
    for (const s of b.sources ?? []) found.push(...ofSource(s));
    for (const u of b.unknown_sources ?? []) {
      found.push({ ...here, key: `${b.id} ${u.number}`, sort: 'stranger', text: text.stranger(u.number), href: `#unknown-${b.id}-${u.number}` });
    }
  }
  return found.sort((a, b) => ORDER.indexOf(a.sort) - ORDER.indexOf(b.sort));
}

/** What needs a look about one source. */
export function ofSource(s: Source): Concern[] {
  const here = { where: s.id, href: sourcePath(s.id), since: null, next: null };
  const found: Concern[] = [];
  if (s.trouble) found.push({ ...here, key: `${s.id} trouble`, sort: 'fault', text: s.trouble });
  if (batteryLow(s)) found.push({ ...here, key: `${s.id} battery`, sort: 'battery', text: text.batteryIs(batteryWords(s)) });
  if (s.health?.text) found.push({ ...here, key: `${s.id} channels`, sort: 'channels', text: s.health.text });
  if (!s.calibrated && s.feeds.length > 0) {
    found.push({ ...here, key: `${s.id} calibration`, sort: 'uncalibrated', text: text.uncalibratedFeeds(s.feeds.map((f) => f.place)) });
  }
  return found;
}
