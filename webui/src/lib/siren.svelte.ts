// Plays the bursts of the gravest alert that nobody has. A browser tab may be
// asleep, or muted: this is a help for who sits in front of it, and no alarm.

import { isCalling } from './life';
import type { Alert, Priority } from './link/types';
import { byPriority } from './order';
import { play } from './player';
import { remember } from './remember';
import { burst } from './sound';

const KEY = 'weald.sound';
export const PAUSE = 120_000;
const LOUD = 0.06; // of each harmonic

class Siren {
  wanted = $state(remember(KEY) === 'on');
  /** The browser plays nothing until somebody has done something on the page. */
  blocked = $state(false);
  /** Until when it is paused, in ms of the wall clock; 0 while it is not. */
  pausedUntil = $state(0);

  #context: AudioContext | null = null;
  #told = ''; // for which alerts a burst has sounded
  #next = 0;

  /** To be called from something that a person did. */
  async turn(on: boolean): Promise<void> {
    this.wanted = on;
    this.pausedUntil = 0;
    this.#told = '';
    remember(KEY, on ? 'on' : 'off');
    if (on) await this.#wake();
    else void this.#context?.suspend();
  }

  pause(): void {
    this.pausedUntil = Date.now() + PAUSE;
    void this.#context?.suspend();
  }

  /** Looks, a few times a second, whether a burst is due. */
  look(alerts: readonly Alert[]): void {
    const now = Date.now();
    if (this.pausedUntil && now >= this.pausedUntil) {
      this.pausedUntil = 0;
      void this.#context?.resume();
    }
    if (!this.wanted || this.pausedUntil) return;
    if (!this.#context || this.#context.state !== 'running') {
      if (!this.blocked) void this.#wake();
      return;
    }
    const calling = alerts.filter(isCalling).sort(byPriority);
    const names = calling.map((a) => `${a.id} ${a.raised_at} ${a.tier}`);
    const fresh = names.some((n) => !this.#told.includes(n));
    this.#told = names.join('\n');
    if (calling.length === 0 || (!fresh && now < this.#next)) return;
    const b = burst(calling[0]!.priority as Priority);
    this.#next = now + b.length + b.pause;
    play(this.#context, b, LOUD);
  }

  async #wake(): Promise<void> {
    try {
      this.#context ??= new AudioContext();
      // A browser that waits for a person never answers, so nobody waits for it.
      await Promise.race([this.#context.resume(), new Promise((go) => setTimeout(go, 300))]);
      this.blocked = this.#context.state !== 'running';
    } catch {
      this.blocked = true;
    }
  }
}

export const siren = new Siren();
