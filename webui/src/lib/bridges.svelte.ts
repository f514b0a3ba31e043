// The state of the equipment, asked for every few seconds, so that a port that
// does not answer is said on every page and not only where one looks for it.

import { getJSON } from './link/history';
import { live } from './live.svelte';
import { bridges as text } from './text';

export interface Source {
  id: string;
  number: number;
  frames: number;
  gaps: number;
  damaged: number;
  /** Scans a second, measured and as configured. */
  rate: number | null;
  nominal: number | null;
  last_scan_at: string | null;
  /** Percent. */
  battery: number | null;
  trouble: string;
}

export interface Bridge {
  id: string;
  link: string;
  format: string;
  /** "connecting", "open", "waiting", "ended" or "stopped". */
  state: string;
  /** What is wrong, in plain words; empty where nothing is. */
  trouble: string;
  trouble_since: string | null;
  next_try_at: string | null;
  frames: number;
  bad: Record<string, number> | null;
  sources: Source[] | null;
  unknown_sources: { number: number }[] | null;
}

/** What is wrong with a bridge or, failing that, with one of its sources. */
export function troubleOf(b: Bridge): string {
  if (b.trouble) return b.trouble;
  const source = (b.sources ?? []).find((s) => s.trouble);
  if (source) return `${source.id}: ${source.trouble}`;
  return b.state === 'waiting' ? (text.states.waiting ?? b.state) : '';
}

const EVERY = 5000;

class Bridges {
  list = $state.raw<Bridge[] | null>(null);
  failed = $state(false);
  /** Server time of the list, in ms. */
  at = $state(NaN);

  /** Those about which something is wrong at present. */
  get troubled(): Bridge[] {
    return (this.list ?? []).filter((b) => troubleOf(b) !== '');
  }

  start(): () => void {
    const ask = () => {
      if (document.visibilityState === 'visible') void this.#ask();
    };
    ask();
    const timer = setInterval(ask, EVERY);
    document.addEventListener('visibilitychange', ask);
    return () => {
      clearInterval(timer);
      document.removeEventListener('visibilitychange', ask);
    };
  }

  async #ask(): Promise<void> {
    try {
      const answer = await getJSON<{ bridges: Bridge[] | null }>('/api/v1/bridges');
      this.list = answer.bridges ?? [];
      this.at = live.clock();
      this.failed = false;
    } catch {
      this.failed = true;
    }
  }
}

export const bridges = new Bridges();
