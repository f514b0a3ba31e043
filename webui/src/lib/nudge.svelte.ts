// The ways in which a page may nudge, and what keeps it from them. A browser lets
// a page buzz and sound only after somebody has touched it, and never from behind.

import type { Buzz, Chime } from './myseat';
import { play } from './player';
import { burst } from './sound';
import { remember } from './remember';

const BUZZ = 'weald.seat.buzz';
const SOUND = 'weald.seat.sound';
const LOUD = 0.03; // of each harmonic: for who sits there, not for the room

/** Patterns in ms: buzz, pause, buzz. */
const PATTERNS = { due: [250, 150, 250, 150, 400], counts: [90] };

class Nudges {
  wantsBuzz = $state(remember(BUZZ) !== 'off');
  wantsSound = $state(remember(SOUND) === 'on');
  wantsAwake = $state(false);
  awake = $state<'off' | 'on' | 'none' | 'lost'>('off');
  #touched = $state(Boolean(navigator.userActivation?.hasBeenActive));
  #refused = $state(false);
  #running = $state(false);
  #context: AudioContext | null = null;
  #lock: WakeLockSentinel | null = null;

  get buzz(): Buzz {
    if (!('vibrate' in navigator)) return 'none';
    if (!this.wantsBuzz) return 'off';
    if (!this.#touched) return 'blocked';
    return this.#refused ? 'refused' : 'on';
  }

  get chime(): Chime {
    if (!this.wantsSound) return 'off';
    return this.#running ? 'on' : 'blocked';
  }

  /** Begins, and returns what ends it. */
  start(): () => void {
    // Enter and blanks become clicks, which whatever is clicked sees first.
    const touch = (e: Event) => {
      if (e instanceof KeyboardEvent && (e.key === 'Enter' || e.key === ' ')) return;
      this.#touched = true;
      if (this.wantsSound) void this.#wake();
    };
    const show = () => {
      if (document.visibilityState !== 'visible') return;
      if (this.wantsAwake) void this.#hold();
      if (this.wantsSound) void this.#wake();
    };
    addEventListener('click', touch);
    addEventListener('keydown', touch);
    document.addEventListener('visibilitychange', show);
    return () => {
      removeEventListener('click', touch);
      removeEventListener('keydown', touch);
      document.removeEventListener('visibilitychange', show);
      void this.#lock?.release();
    };
  }

  // These three are called by something that a person did.

  turnBuzz(): void {
    this.wantsBuzz = this.buzz === 'blocked' || !this.wantsBuzz; // who touches it first wants it
    this.#touched = true;
    remember(BUZZ, this.wantsBuzz ? 'on' : 'off');
    if (this.wantsBuzz) this.#vibrate(PATTERNS.counts); // so that one knows what it is like
  }

  async turnSound(): Promise<void> {
    this.wantsSound = this.chime !== 'on';
    remember(SOUND, this.wantsSound ? 'on' : 'off');
    if (!this.wantsSound) return void this.#context?.suspend();
    await this.#wake();
    this.#chime();
  }

  async turnAwake(): Promise<void> {
    this.wantsAwake = !this.wantsAwake;
    if (this.wantsAwake) return this.#hold();
    this.awake = 'off';
    const lock = this.#lock;
    this.#lock = null;
    await lock?.release();
  }

  nudge(what: 'due' | 'counts'): void {
    if (document.visibilityState !== 'visible') return;
    if (this.buzz === 'on' || this.buzz === 'refused') this.#vibrate(PATTERNS[what]);
    if (what === 'due') this.#chime();
  }

  #vibrate(pattern: number[]): void {
    this.#refused = !navigator.vibrate?.(pattern);
  }

  #chime(): void {
    if (this.chime === 'on' && this.#context) play(this.#context, burst('low'), LOUD);
  }

  async #wake(): Promise<void> {
    try {
      this.#context ??= new AudioContext();
      this.#context.onstatechange = () => (this.#running = this.#context?.state === 'running');
      // A browser that waits for a person never answers, so nobody waits for it.
      await Promise.race([this.#context.resume(), new Promise((go) => setTimeout(go, 300))]);
      this.#running = this.#context.state === 'running';
    } catch {
      this.#running = false;
    }
  }

  async #hold(): Promise<void> {
    try {
      const lock = await navigator.wakeLock.request('screen');
      this.#lock = lock;
      this.awake = 'on';
      lock.addEventListener('release', () => {
        if (this.#lock === lock && this.wantsAwake && document.visibilityState === 'visible') this.awake = 'lost';
      });
    } catch {
      this.awake = 'wakeLock' in navigator ? 'lost' : 'none';
    }
  }
}

export const nudges = new Nudges();
