// The live connection: one WebSocket that is opened again by itself, told what
// to send, confirmed what came, and watched for silence. It knows nothing of
// pages; they are told through Handlers.

import { ServerClock } from './clock';
import type { LiveEvent, Subscription } from './types';
import { decode, type Frame } from './wire';

export const PROTOCOL = 'weald.live.v1';

/** How old, in ms, the newest may be that is still called the present: the promise is 2 s over a thin link, and 3 s until a loss is said. */
export const OLD_AFTER = 1750;
/** For how long news must have been fresh again, in ms, before the page is: what waited on a thin link comes in a row. */
const STEADY = 1000;
/** Silence after which an open connection is given up and made anew. */
const DEAD_AFTER = 6000;
const FIRST_WAIT = 250;
const LONGEST_WAIT = 8000;
/** With this the daemon closes a connection because its configuration has changed. */
const CHANGED = 1012;
/** A connection that lasted so long was a good one: waiting starts small again. */
const GOOD_AFTER = 5000;

export type Phase = 'connecting' | 'live' | 'old';

interface Handlers {
  event(e: LiveEvent): void;
  frame(f: Frame): void;
  /** The phase has changed. `last` is the server's time of the last news, NaN for none. */
  phase(phase: Phase, last: number): void;
}

export class LiveLink {
  readonly clock = new ServerClock();
  readonly #url: string;
  readonly #handlers: Handlers;
  #socket: WebSocket | null = null;
  #subscription: Subscription | null = null;
  #phase: Phase = 'connecting';
  #ready = false; // hello has come on this socket
  #current = false; // and a snapshot: what is shown is the present again
  #heard = NaN; // monotonic ms of the last message
  #opened = 0;
  #attempt = 0;
  #fresh = NaN; // monotonic ms since when news are
  readonly #began = performance.now();
  #retry: ReturnType<typeof setTimeout> | undefined;
  #watch: ReturnType<typeof setInterval> | undefined;

  constructor(url: string, handlers: Handlers) {
    this.#url = url;
    this.#handlers = handlers;
  }

  get phase(): Phase {
    return this.#phase;
  }

  /** Server time now, in ms since the epoch; NaN before the first word. */
  now(): number {
    return this.clock.now(performance.now());
  }

  start(): void {
    this.#watch = setInterval(() => this.#look(), 100);
    addEventListener('online', this.#hurry);
    document.addEventListener('visibilitychange', this.#hurry);
    this.#open();
  }

  stop(): void {
    clearInterval(this.#watch);
    clearTimeout(this.#retry);
    removeEventListener('online', this.#hurry);
    document.removeEventListener('visibilitychange', this.#hurry);
    this.#drop();
  }

  /** Replaces what is asked for, now and after every reconnection. */
  subscribe(s: Subscription): void {
    this.#subscription = s;
    if (this.#ready) this.#send({ subscribe: s });
  }

  #open(): void {
    clearTimeout(this.#retry);
    this.#drop();
    const socket = new WebSocket(this.#url, PROTOCOL);
    socket.binaryType = 'arraybuffer';
    this.#socket = socket;
    this.#opened = performance.now();
    socket.onmessage = (e) => {
      if (this.#socket === socket) this.#message(e.data as unknown);
    };
    socket.onclose = (e) => {
      if (this.#socket === socket) this.#again(e.code === CHANGED);
    };
  }

  /** Lets go of the present socket without waiting for its farewell. */
  #drop(): void {
    const socket = this.#socket;
    this.#socket = null;
    this.#ready = this.#current = false;
    socket?.close();
  }

  #again(expected = false): void {
    const good = expected || this.#ready && performance.now() - this.#opened > GOOD_AFTER;
    this.#drop();
    this.#attempt = good ? 0 : this.#attempt + 1;
    const wait = Math.min(LONGEST_WAIT, FIRST_WAIT * 2 ** this.#attempt);
    // Half of the wait is left to chance, so that a ward full of screens does
    // not come back in one instant.
    this.#retry = setTimeout(() => this.#open(), wait * (0.5 + Math.random() / 2));
  }

  #hurry = (): void => {
    if (document.visibilityState !== 'visible' || this.#ready) return;
    if (this.#socket === null) this.#open();
  };

  #message(data: unknown): void {
    const at = performance.now();
    if (data instanceof ArrayBuffer) {
      const frame = decode(data);
      if (!frame) return;
      this.#heard = at;
      this.#send({ got: frame.number });
      this.#handlers.frame(frame);
      return;
    }
    const e = parseEvent(data);
    if (!e) return;
    if (e.event === 'hello') {
      this.#ready = true;
      this.clock.start(Date.parse(e.now), e.speed, at);
      if (this.#subscription) this.#send({ subscribe: this.#subscription });
    } else if (e.event === 'beat' || e.event === 'snapshot') {
      this.clock.beat(Date.parse(e.now), at);
    }
    this.#heard = at;
    this.#handlers.event(e);
    if (e.event === 'snapshot') {
      this.#current = true;
      this.#fresh = -Infinity; // with all that there is
      this.#look();
    }
  }

  #send(message: object): void {
    if (this.#socket?.readyState === WebSocket.OPEN) this.#socket.send(JSON.stringify(message));
  }

  #look(): void {
    const at = performance.now();
    // The daemon gives its word every second. It is in order with all else that it
    // says: by a word that is missing, what came last is older than it looks.
    if (this.clock.age(at) < OLD_AFTER) {
      if (Number.isNaN(this.#fresh)) this.#fresh = at;
      if (this.#current && (this.#phase !== 'old' || at - this.#fresh >= STEADY)) this.#turn('live');
    } else {
      this.#fresh = NaN;
      if (this.#phase !== 'connecting' || at - this.#began > OLD_AFTER) this.#turn('old');
    }
    if (this.#socket && at - Math.max(this.#opened, this.#heard || 0) > DEAD_AFTER) this.#again();
  }

  #turn(phase: Phase): void {
    if (phase === this.#phase) return;
    this.#phase = phase;
    const at = performance.now();
    this.#handlers.phase(phase, this.clock.now(at) - this.clock.age(at) * this.clock.speed);
  }
}

/** A JSON event, or null for what is none. */
function parseEvent(data: unknown): LiveEvent | null {
  if (typeof data !== 'string') return null;
  try {
    const e = JSON.parse(data) as LiveEvent;
    return e && typeof e === 'object' && typeof e.event === 'string' ? e : null;
  } catch {
    return null;
  }
}
