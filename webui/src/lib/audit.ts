// Who did, saw and took away what, and what leaves the machine, over HTTP.

import { getJSON } from './link/history';
import { audit as text } from './text.audit';

export interface Act {
  number: number;
  at: string;
  /** A code, a name, console or an address; empty for the program itself, and for whoever gave none. */
  who: string;
  what: string;
  place: string;
  subject: string;
  person: string;
  text: string;
  says: string;
}

export interface Audit {
  /** The end of the chain, as the command takes it; empty where there is none. */
  head: string;
  acts: Act[];
}

export interface Leaving {
  by: string;
  to: string;
  kind: 'alerts' | 'beats' | 'directory' | 'record' | 'asks';
  what: string;
}

/** How many lines a page shows. */
export const SHOWN = 100;

export function readAudit(who: string, person: string): Promise<Audit> {
  const query = new URLSearchParams({ newest: String(SHOWN) });
  if (who.trim()) query.set('who', who.trim());
  if (person.trim()) query.set('person', person.trim());
  return getJSON<Audit>(`/api/v1/audit?${query}`);
}

export const readLeaves = async (): Promise<Leaving[]> => (await getJSON<{ leaves: Leaving[] }>('/api/v1/leaves')).leaves;

/** What was done, in the language of the page; a word that it does not have stays as the record has it. */
export const done = (a: Act): string => (Object.hasOwn(text.done, a.what) ? text.done[a.what]! : a.what.replaceAll('-', ' '));

const OWN = ['alerts', 'configured', 'deleted', 'unseen'];

/** Who did it: somebody who gave no code is not the program. */
export const doer = (a: Act): string => (a.who ? whole(a.who) : OWN.includes(a.what) ? text.itself : text.somebody);

const thing = (subject: string): string => {
  const [first = '', ...rest] = subject.split(' ');
  return Object.hasOwn(text.things, first) ? [text.things[first], ...rest].join(' ') : subject;
};

/** What it was done with, and whose data that was; who looks at no thing looks at the place. */
export function withWhat(a: Act): string {
  const words = [thing(a.subject) || (a.what === 'viewed' ? a.place : ''), whole(a.text)].filter(Boolean);
  if (a.place && (a.subject || a.what !== 'viewed')) words.push(text.at(a.place));
  if (a.person) words.push(text.of(whole(a.person)));
  return words.join(', ');
}

/** What has been erased is said to be. */
export const whole = (s: string): string => (s === '(erased)' ? text.erased : s);
