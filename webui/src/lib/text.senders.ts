// The words about senders of messages, on the Alerts page.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const senders = {
  title: 'Who is told, beside these pages',
  caution: 'A message that was sent is not one that was seen, and weald is not a medical alarm system.',
  none: 'Nobody: the configuration names no senders. Alerts are on these pages only.',
  failed: 'The daemon does not say how its senders fare.',
  well: (t: string) => `Gets through; it was last taken ${t}.`,
  untried: 'Nothing has been sent yet.',
  failing: (why: string) => `Did not get through, and is tried again: ${why}`,
  broken: (why: string) => (why ? `Does not get through: ${why}` : 'Does not get through: a message was given up.'),
  since: (t: string) => `since ${t}`,
  next: (t: string) => `next try ${t}`,
  waiting: (n: number, t: string) => `${form(n, { one: '1 message waits', other: `${n} messages wait` })}, the oldest since ${t}`,
  counts: (sent: number, givenUp: number) => `${sent} sent${givenUp ? `, ${givenUp} given up` : ''} since the start`,
  test: (t: string) => `last test taken ${t}`,
  noTest: 'no test was taken yet',
  /** Of one call: by which sender, since when, and when it came to what it is. */
  called: {
    trying: (id: string, from: string) => `not delivered yet by ${id}, which has tried since ${from}`,
    sent: (id: string, _: string, at: string) => `delivered by ${id} at ${at}`,
    'given-up': (id: string, _: string, at: string) => `given up by ${id} at ${at}`,
    withdrawn: (id: string, _: string, at: string) => `withdrawn from ${id} at ${at}`,
  },
  tierCalled: (n: number, how: string[]) => `tier ${n} is called: ${how.join('; ')}`,
};

catalogue('text.senders', { senders });
