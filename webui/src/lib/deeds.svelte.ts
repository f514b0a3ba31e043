// What people do with alerts, over HTTP. Who does it is known by the account, where
// there are accounts. Without them it is a code that the browser remembers, which is no
// proof of anything.

import type { Verb } from './life';
import { post } from './link/post';
import type { Alert } from './link/types';
import { alerts as text } from './text';
import { remember } from './remember';

const KEY = 'weald.code';
const FORM = /^[A-Z]{1,4}-[0-9]{1,6}$/;

class Who {
  #typed = $state(stored());
  /** The account's name; null where people say themselves who they are. */
  known = $state<string | null>(null);

  get code(): string {
    return this.known ?? this.#typed;
  }

  /** Takes a code, and reports whether it is one. */
  take(typed: string): boolean {
    const code = typed.trim().toUpperCase();
    if (!FORM.test(code)) return false;
    this.#typed = code;
    remember(KEY, code);
    return true;
  }

  forget(): void {
    this.#typed = '';
    remember(KEY, '');
  }
}

function stored(): string {
  const code = remember(KEY) ?? '';
  return FORM.test(code) ? code : '';
}

export const who = new Who();

export interface Deed {
  verb: Verb;
  reason?: string;
  minutes?: number;
}

/** Does it, and gives the alert as it then is. The error says in words why not. */
export function act(alert: string, deed: Deed): Promise<Alert> {
  const body = { code: who.code, reason: deed.reason || undefined, for_s: deed.minutes ? deed.minutes * 60 : undefined };
  return post<Alert>(`/api/v1/alerts/${encodeURIComponent(alert)}/${deed.verb}`, body, text);
}
