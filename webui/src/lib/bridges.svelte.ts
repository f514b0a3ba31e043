// The state of the equipment, asked for every few seconds, so that a port that
// does not answer is said on every page and not only where one looks for it.

import type { Bridge } from './link/equipment';
import { concerns } from './concerns';
import { getJSON } from './link/history';
import { live } from './live.svelte';
import { setup as text } from './text';

/** What is wrong with a bridge or, failing that, with one of its sources. */
export function troubleOf(b: Bridge): string {
  if (b.trouble) return b.trouble;
  const source = (b.sources ?? []).find((s) => s.trouble);
  if (source) return `${source.id}: ${source.trouble}`;
  return b.state === 'waiting' ? (text.states.waiting ?? b.state) : '';
}

/** How often it is asked for, in ms: on any page, and where one looks at the equipment itself. */
const EVERY = 5000;
const OFTEN = 1000;

class Bridges {
  list = $state.raw<Bridge[] | null>(null);
  failed = $state(false);
  /** Server time of the list, in ms. */
  at = $state(NaN);

  /** How many things are wrong at present, with links and with sources. */
  get faults(): number {
    return concerns(this.list ?? []).filter((c) => c.sort === 'fault').length;
  }

  /** The bridges about which something is wrong. */
  get troubled(): Bridge[] {
    return (this.list ?? []).filter((b) => troubleOf(b) !== '');
  }

  start(): () => void {
    const ask = () => {
      if (document.visibilityState === 'visible' && !this.#asking) void this.#ask();
    };
    ask();
    const timer = setInterval(ask, EVERY);
    document.addEventListener('visibilitychange', ask);
    return () => {
      clearInterval(timer);
      document.removeEventListener('visibilitychange', ask);
    };
  }

  /** Asks more often until the returned function is called. */
  often(): () => void {
    const timer = setInterval(() => {
      if (document.visibilityState === 'visible' && !this.#asking) void this.#ask();
    }, OFTEN);
    return () => clearInterval(timer);
  }

  #asking = false;

  async #ask(): Promise<void> {
    this.#asking = true;
    try {
      const answer = await getJSON<{ bridges: Bridge[] | null }>('/api/v1/bridges');
      this.list = answer.bridges ?? [];
      this.at = live.clock();
      this.failed = false;
    } catch {
      this.failed = true;
    } finally {
      this.#asking = false;
    }
  }
}

export const bridges = new Bridges();
