// The ways on which messages go, asked for every few seconds while anything on a
// page says how they fare.

import { getJSON } from './link/history';
import type { Sender } from './senders';

/** How often they are asked for, in ms. */
const EVERY = 5000;

class Senders {
  list = $state.raw<Sender[] | null>(null);
  failed = $state(false);

  #followers = 0;
  #timer: ReturnType<typeof setInterval> | undefined;

  /** Asks on until the returned function is called. */
  follow(): () => void {
    if (this.#followers++ === 0) {
      void this.#ask();
      this.#timer = setInterval(() => void this.#ask(), EVERY);
    }
    return () => {
      if (--this.#followers === 0) clearInterval(this.#timer);
    };
  }

  #asking = false;

  async #ask(): Promise<void> {
    if (document.visibilityState !== 'visible' || this.#asking) return;
    this.#asking = true;
    try {
      this.list = (await getJSON<{ senders: Sender[] }>('/api/v1/senders')).senders;
      this.failed = false;
    } catch {
      this.failed = true;
    } finally {
      this.#asking = false;
    }
  }
}

export const senders = new Senders();
