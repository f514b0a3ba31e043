// What is said aloud by a screen reader: each alert once, urgent ones at once,
// and never more than one message in a few seconds.

import { instant, plain } from './format';
import { isAside, isCalling, isOpen } from './life';
import type { Alert } from './link/types';
import { alerts as text, priorities } from './text';
import { saidInUnit } from './units.svelte';

const PAUSE = 3000;

class Voice {
  said = $state('');
  #queue: string[] = [];
  #merge: (messages: string[]) => string;
  #timer: ReturnType<typeof setTimeout> | undefined;

  constructor(merge: (messages: string[]) => string) {
    this.#merge = merge;
  }

  say(message: string): void {
    this.#queue.push(message);
    if (this.#timer === undefined) this.#speak();
  }

  #speak = (): void => {
    this.#timer = undefined;
    if (this.#queue.length === 0) return;
    this.said = this.#merge(this.#queue);
    this.#queue = [];
    this.#timer = setTimeout(this.#speak, PAUSE);
  };
}

export class Announcer {
  readonly urgent = new Voice((m) => (m.length === 1 ? m[0]! : text.spokenMany(m.length, m[0]!)));
  readonly calm = new Voice((m) => m.join(' '));
  #known: Set<string> | null = null;

  /** The whole list, at the beginning and after a reconnection. */
  all(alerts: readonly Alert[]): void {
    const open = alerts.filter(isOpen);
    if (this.#known === null) {
      this.#known = new Set(open.map(once));
      if (open.length > 0) this.calm.say(text.spokenOpen(open.length));
      return;
    }
    open.filter(isCalling).forEach((a) => this.raised(a));
  }

  /** A change of one alert. Of what is put aside nothing is said. */
  changed(what: string, a: Alert): void {
    if (isAside(a)) return;
    const place = plain(a.place);
    switch (what) {
      case 'raised':
        return this.raised(a);
      case 'cleared':
        if (instant(a.cleared_at) < instant(a.since)) return; // it was over, which was said, and now its rule is gone too
        return this.cleared(a);
      case 'acknowledged':
        return this.calm.say(text.spokenTaken(a.acknowledged_by, place, saidInUnit(a.text)));
      case 'escalated':
        return (a.priority === 'low' ? this.calm : this.urgent).say(text.spokenWaiting(place, saidInUnit(a.text)));
      case 'unshelved':
      case 'shelf-ended':
      case 'in-service':
      case 'unsuppressed':
        if (isCalling(a)) this.raised(a);
    }
  }

  raised(a: Alert): void {
    this.#known ??= new Set();
    if (this.#known.has(once(a))) return;
    this.#known.add(once(a));
    const voice = a.priority === 'low' ? this.calm : this.urgent;
    voice.say(text.spoken(priorities[a.priority], a.place ? plain(a.place) : text.itself, saidInUnit(a.text)));
  }

  cleared(a: Alert): void {
    if (!isCalling(a)) this.#known?.delete(once(a)); // else it is latched
    this.calm.say(text.spokenCleared(a.place ? plain(a.place) : text.itself, saidInUnit(a.text)));
  }
}

function once(a: Alert): string {
  return `${a.id} ${a.raised_at}`;
}
