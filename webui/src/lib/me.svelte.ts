// Who looks at the pages, and what that person may do: by an account, where there are
// accounts. Without them everybody may do everything. The daemon decides; this is so
// that the pages show what it would permit, and nothing else.

import { who } from './deeds.svelte';
import { getJSON, record } from './link/history';
import { post } from './link/post';
import { refused } from './refused';
import type { Route } from './route.svelte';
import { access as text } from './text.access';

export type Role = 'nobody' | 'wall' | 'viewer' | 'carer' | 'engineer' | 'admin';

export interface Said {
  accounts: boolean;
  first: boolean;
  directory: boolean;
  /** Whether there is a record. */
  keeps?: boolean;
  name: string;
  role: Role;
  means: 'open' | 'none' | 'session' | 'token' | 'screen' | 'console';
  may: string[];
}

/** What a page shows first of all, so that who may not see that is told so. */
const NEEDS: Partial<Record<Route['page'], string>> = {
  alerts: 'alerts', records: 'sessions', bench: 'attempts', rehearse: 'rehearsals', calibrate: 'calibrations', setup: 'raw', source: 'raw', configuration: 'configuration',
};

/** What the daemon says of a log-in, in the language of the page. */
function put(said: string): string {
  const wait = /^too many wrong passwords: try again in (\d+) s$/.exec(said);
  if (wait) return text.tooMany(Number(wait[1]));
  if (said.startsWith('the name or the password')) return text.wrong;
  if (said.startsWith('this link opens nothing')) return text.screenWrong;
  if (said.startsWith('old: ')) return text.oldWrong;
  return said;
}

/** At most so often the daemon is told that somebody is there, in ms. */
const HERE = 60_000;

export class Me {
  said = $state.raw<Said | null>(null);
  /** Somebody wants to log in, on a screen that shows something already. */
  asking = $state(false);

  #may = $derived(new Set(this.said?.may));
  #here = -HERE;
  #told = 0; // how often it was said who this is

  get accounts(): boolean {
    return this.said?.accounts ?? false;
  }

  get name(): string {
    return this.said?.name ?? '';
  }

  /** Nothing can be shown before somebody logs in. */
  get outside(): boolean {
    return this.accounts && this.said?.role === 'nobody';
  }

  /** Whether an operation is permitted, by its id in the OpenAPI document. */
  can(operation: string): boolean {
    return !this.accounts || this.#may.has(operation);
  }

  sees(page: Route['page']): boolean {
    const needs = NEEDS[page];
    return needs === undefined || this.can(needs);
  }

  /** Asks who one is. A daemon that does not answer decides later; nothing is hidden until then. */
  async read(): Promise<void> {
    const then = this.#told;
    try {
      const said = await getJSON<Said>('/api/v1/me');
      if (then === this.#told) this.#take(said); // else somebody has logged in since it was asked
    } catch {
      // What follows fails too, and says so.
    }
  }

  async logIn(name: string, password: string): Promise<void> {
    this.#take(await post<Said>('/api/v1/log-in', { name: name.trim(), password }, text, put));
    this.asking = false;
  }

  async logOut(): Promise<void> {
    await post<Said>('/api/v1/log-out', {}, text);
    location.assign('/'); // nothing of it stays on the page
  }

  async changePassword(old: string, next: string): Promise<void> {
    this.#take(await post<Said>('/api/v1/me/password', { old, new: next }, text, put));
  }

  /** Makes this browser a wall screen. */
  async openScreen(key: string): Promise<void> {
    this.#take(await post<Said>('/api/v1/screen', { key }, text, put));
  }

  /** Somebody has done something: the session is not idle. */
  here(now: number): void {
    if (this.said?.means !== 'session' || now - this.#here < HERE) return;
    this.#here = now;
    void post<Said>('/api/v1/me/here', {}, text).catch(() => undefined);
  }

  start(): void {
    refused.tell = () => void this.read();
    for (const event of ['pointerdown', 'keydown', 'wheel']) addEventListener(event, () => this.here(performance.now()), { passive: true });
  }

  #take(said: Said): void {
    this.said = said;
    this.#told++;
    record.kept = said.keeps ?? true;
    who.known = said.means === 'session' ? said.name : null;
  }
}

export const me = new Me();
