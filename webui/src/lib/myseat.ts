// What the page My seat makes of what it is told. Pure.

import { clockTime, duration, instant, percent } from './format';
import { seat as text } from './text.seat';

/** The present of a seat, as /api/v1/my-seat tells it. */
export interface SeatNow {
  place: string;
  at: string;
  heard: string | null;
  zone: string;
  state: 'seated' | 'easing' | 'away' | 'unknown';
  since_s: number | null;
  interval_s: number | null;
  due_at: string | null;
  easing_s: number;
  lasting_s: number;
}

export interface SeatDay {
  from: string;
  to: string;
  seated_s: number;
  unknown_s: number;
  shifts: number;
  reliefs: number;
  transfers: number;
  last: { at: string; kind: string }[];
}

/** What is said: in large, in small, and in words of the bar. */
interface Saying {
  mode: 'later' | 'due' | 'easing' | 'counts' | 'away' | 'open' | 'unknown';
  answer: string;
  more: string;
  /** How full the bar is, 0 to 1; null where nobody knows, undefined for no bar. */
  bar: number | null | undefined;
  barText: string;
}

export function saying(now: SeatNow): Saying {
  const at = instant(now.at);
  const left = now.interval_s === null || now.since_s === null ? NaN : now.interval_s - now.since_s;
  const share = now.interval_s ? Math.min(1, Math.max(0, left / now.interval_s)) : 0;
  switch (now.state) {
    case 'unknown':
      return {
        mode: 'unknown', answer: text.unknown, bar: null, barText: text.barUnknown,
        more: now.heard ? text.unknownMore(clockTime(instant(now.heard), at)) : text.unknownNever,
      };
    case 'away':
      return { mode: 'away', answer: text.away, more: '', bar: undefined, barText: '' };
    case 'easing': {
      const done = Math.min(1, now.easing_s / now.lasting_s);
      const counts = done >= 1;
      return {
        mode: counts ? 'counts' : 'easing',
        answer: counts ? text.counts : text.keep(duration(Math.ceil(now.lasting_s - now.easing_s) * 1000)),
        more: counts ? text.countsMore : '',
        bar: counts ? 1 : share + (1 - share) * done,
        barText: text.barEasing(percent(done)),
      };
    }
    case 'seated':
      if (Number.isNaN(left)) return { mode: 'open', answer: text.seated(duration((now.since_s ?? NaN) * 1000)), more: text.noInterval, bar: undefined, barText: '' };
      if (left <= 0) return { mode: 'due', answer: text.due, more: left > -5 ? text.dueJust : text.dueMore(duration(-left * 1000)), bar: 0, barText: text.bar(percent(0)) };
      return {
        mode: 'later', answer: text.later(duration(left * 1000)), bar: share, barText: text.bar(percent(share)),
        more: text.sitting(duration(now.since_s! * 1000), clockTime(instant(now.due_at), at)),
      };
  }
}

/** How often somebody is nudged while it stays due, in ms. */
export const AGAIN = 120_000;

/** Decides when to nudge. Time is in ms of any clock that goes on. */
export class Nudger {
  #was: Saying['mode'] | null = null;
  #last = -Infinity;

  /** What a look at the present asks for: a nudge, or word that a shift counts. */
  look(mode: Saying['mode'], at: number): 'due' | 'counts' | null {
    const was = this.#was;
    this.#was = mode;
    if (mode === 'due' && (at - this.#last >= AGAIN || (was !== 'due' && was !== 'easing' && was !== 'unknown'))) {
      this.#last = at;
      return 'due';
    }
    // Only who was waiting for it is told: not a page that has just been opened.
    if (mode === 'counts' && was === 'easing') {
      this.#last = -Infinity;
      return 'counts';
    }
    return null;
  }
}

/** What keeps a page from nudging; empty where something can. */
export type Buzz = 'on' | 'off' | 'none' | 'blocked' | 'refused';
export type Chime = 'on' | 'off' | 'blocked';

export function hindrances(buzz: Buzz, chime: Chime): string[] {
  if (buzz === 'on' || chime === 'on') return [];
  const said = { off: text.buzzOff, none: text.buzzNone, blocked: text.buzzBlocked, refused: text.buzzRefused }[buzz];
  return [said, chime === 'off' ? text.soundOff : text.soundBlocked];
}

/** The key in an address, or '' where there is none. */
export function keyIn(hash: string): string {
  return /^#([A-Z2-7]{26,64})$/.exec(hash)?.[1] ?? '';
}
