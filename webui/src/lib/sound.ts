// The bursts by which alerts sound, in the pattern of IEC 60601-1-8 (2006, tables
// 3 and 4), as style: no conformity is claimed. Pure; what plays them is in
// siren.svelte.ts.

import type { Priority } from './link/types';

/** One pulse of a burst, in ms: when it begins and how long it lasts. */
interface Pulse {
  at: number;
  lasts: number;
}

export interface Burst {
  pulses: Pulse[];
  /** From the begin of its first pulse to the end of its last, in ms. */
  length: number;
  /** From the end of one burst to the begin of the next, in ms; Infinity: it is not repeated. */
  pause: number;
}

// Within the bounds of the tables: pulses of 75–200 ms (high) and 125–250 ms,
// spacings of 50–125 ms and 125–250 ms, a gap of 0.35–1.3 s, bursts 2.5–15 s and
// 2.5–30 s apart. Low need not be repeated.
const HIGH = { lasts: 150, x: 100, gap: 700, pause: 8000 };
const CALM = { lasts: 200, y: 200, pause: 20_000 };

function spaced(lasts: number, spacings: number[], pause: number): Burst {
  const pulses: Pulse[] = [{ at: 0, lasts }];
  let end = lasts;
  for (const s of spacings) {
    pulses.push({ at: end + s, lasts });
    end += s + lasts;
  }
  return { pulses, length: end, pause };
}

export function burst(priority: Priority): Burst {
  const { lasts, x, gap, pause } = HIGH;
  const five = [x, x, 2 * x + lasts, x];
  switch (priority) {
    case 'high':
      return spaced(lasts, [...five, gap, ...five], pause);
    case 'medium':
      return spaced(CALM.lasts, [CALM.y, CALM.y], CALM.pause);
    case 'low':
      return spaced(CALM.lasts, [CALM.y], Infinity);
  }
}

/** The pulse's fundamental in Hz, and its harmonics, all equally loud. */
export const PITCH = 440;
export const HARMONICS = [1, 2, 3, 4, 5];

/** Share of a pulse in which it becomes loud, and quiet again. */
export const RISE = 0.15;
