// What a link to a seat is told, once a second while somebody can look. It asks
// anew as soon as the page wakes, so that nobody sees what was so before a sleep
// for longer than an answer takes.

import { instant, setZone } from './format';
import { keyIn, type SeatDay, type SeatNow } from './myseat';
import { remember } from './remember';

const KEY = 'weald.seat.key';
const EVERY = 1000;
/** Without news for so long, in ms, what is shown is old; the promise is 3 s. */
const OLD_AFTER = 2500;
/** For how long an answer is waited for, in ms: a network that is only just there again loses the first questions. */
const WITHIN = [1000, 1500, 2500, 4000];
/** How long after a question that failed the next one is asked, in ms. */
const AGAIN = [100, 250, 500, EVERY];
const DAY_EVERY = 60_000;
/** A page that was not looked at for so long is told so, in ms. */
const MISSED = 5000;

export type Phase = 'connecting' | 'live' | 'old' | 'gone' | 'none' | 'crowded';

class SeatFeed {
  now = $state.raw<SeatNow | null>(null);
  day = $state.raw<SeatDay | null>(null);
  dayFailed = $state(false);
  phase = $state<Phase>('connecting');
  /** When the last news came, in ms of the seat's clock; NaN for none. */
  since = $state(NaN);
  /** The last time in the background, by the browser's clock. */
  missed = $state.raw<{ from: number; to: number } | null>(null);

  #key = '';
  #heard = -Infinity; // by Date, which goes on while a phone sleeps
  #seen = Date.now(); // when it was last awake
  #dayAt = -Infinity;
  #failed = 0; // questions in a row
  #asking: AbortController | null = null;
  #next: ReturnType<typeof setTimeout> | undefined;

  /** Begins, and returns what ends it. */
  start(): () => void {
    this.#open();
    const watch = setInterval(this.#look, 250);
    const wake = () => this.#wake();
    const show = () => (document.visibilityState === 'visible' ? this.#wake() : this.#hide());
    const another = () => this.#open();
    document.addEventListener('visibilitychange', show);
    document.addEventListener('resume', wake);
    addEventListener('pageshow', wake);
    addEventListener('online', wake);
    addEventListener('hashchange', another);
    return () => {
      clearInterval(watch);
      clearTimeout(this.#next);
      this.#asking?.abort();
      document.removeEventListener('visibilitychange', show);
      document.removeEventListener('resume', wake);
      removeEventListener('pageshow', wake);
      removeEventListener('online', wake);
      removeEventListener('hashchange', another);
    };
  }

  #open(): void {
    this.#key = keyIn(location.hash) || (remember(KEY) ?? '');
    this.now = this.day = null;
    this.#heard = this.#dayAt = -Infinity;
    this.phase = this.#key ? 'connecting' : 'none';
    if (this.#key) void this.#ask();
  }

  /** Asks at once, whatever is still on its way. */
  #wake(): void {
    const now = Date.now();
    if (now - this.#seen > MISSED) this.missed = { from: this.#seen, to: now };
    this.#seen = now;
    this.#failed = 0;
    this.#look();
    if (this.#key && this.phase !== 'gone' && this.phase !== 'none') void this.#ask();
  }

  #hide(): void {
    this.#seen = Date.now();
    clearTimeout(this.#next);
    this.#asking?.abort();
    this.#asking = null;
  }

  #look = (): void => {
    const now = Date.now();
    if (document.visibilityState === 'visible') {
      // A sleep of which the browser said nothing.
      if (now - this.#seen > MISSED) return this.#wake();
      this.#seen = now;
    }
    if ((this.phase === 'live' || this.phase === 'connecting') && now - this.#heard > OLD_AFTER && Number.isFinite(this.#heard)) this.phase = 'old';
  };

  async #ask(): Promise<void> {
    clearTimeout(this.#next);
    this.#asking?.abort();
    const asking = (this.#asking = new AbortController());
    let wait = EVERY;
    try {
      const response = await this.#get('/api/v1/my-seat', asking);
      if (asking.signal.aborted) return;
      if (response.ok) {
        this.#take((await response.json()) as SeatNow);
      } else if (response.status === 401) {
        return this.#end();
      } else if (response.status === 429) {
        this.phase = 'crowded';
        wait = 1000 * Number(response.headers.get('Retry-After') ?? 5);
      } else {
        wait = 2 * EVERY;
      }
    } catch {
      if (asking.signal.aborted) return;
      wait = AGAIN[Math.min(this.#failed++, AGAIN.length - 1)]!;
    }
    if (this.#asking !== asking) return;
    if (this.phase === 'connecting' && !Number.isFinite(this.#heard)) this.phase = 'old';
    this.#next = setTimeout(() => void this.#ask(), wait);
  }

  #get(path: string, asking: AbortController): Promise<Response> {
    return fetch(path, {
      headers: { Authorization: `Bearer ${this.#key}`, Accept: 'application/json' },
      signal: AbortSignal.any([asking.signal, AbortSignal.timeout(WITHIN[Math.min(this.#failed, WITHIN.length - 1)]!)]),
      cache: 'no-store', credentials: 'omit', referrerPolicy: 'no-referrer',
    });
  }

  #take(now: SeatNow): void {
    setZone(now.zone || undefined);
    const before = this.now;
    this.now = now;
    this.#failed = 0;
    this.#heard = Date.now();
    this.since = instant(now.at);
    this.phase = 'live';
    remember(KEY, this.#key);
    if (before?.state === 'easing' && now.state !== 'easing') this.#dayAt = Math.min(this.#dayAt, this.#heard - DAY_EVERY + 3000);
    if (this.#heard - this.#dayAt >= DAY_EVERY) void this.#askDay();
  }

  async #askDay(): Promise<void> {
    this.#dayAt = Date.now();
    const key = this.#key;
    try {
      const response = await this.#get('/api/v1/my-seat/day', new AbortController());
      if (!response.ok) throw new Error(String(response.status));
      const day = (await response.json()) as SeatDay;
      if (key !== this.#key) return; // another seat's link has been opened since
      this.day = day;
      this.dayFailed = false;
    } catch {
      this.dayFailed = true;
    }
  }

  /** The link opens nothing any more: nothing of what it showed stays. */
  #end(): void {
    this.phase = 'gone';
    this.now = this.day = this.missed = null;
    if (remember(KEY) === this.#key) remember(KEY, '');
  }
}

export const feed = new SeatFeed();
