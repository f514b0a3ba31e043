// The words about links to My seat, on the page of a seat.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const seatlinks = {
  title: 'My seat: a page for who sits',
  about: 'A link opens this seat, and nothing else, on a phone: no account, until you withdraw it. It says when to shift, and nudges where the phone lets it. It replaces nobody’s care.',
  make: 'Make a link',
  why: 'For what',
  whyHint: 'No names.',
  only: 'This is shown once. Whoever has it sees this seat: let the phone of who sits read it, or copy it there.',
  local: 'It leads to this machine, which no phone reaches. Open these pages by the address that phones reach, and make a link there.',
  qr: 'The link as a QR code',
  link: 'the link',
  done: 'It is on the phone',
  none: 'There is no link to this seat.',
  made: (id: string, t: string, by: string) => `${id}, made ${t} by ${by}`,
  used: (t: string) => `last used ${t}`,
  unused: 'not used since the daemon was started',
  withdraw: 'Withdraw',
  withdrawn: 'It opens nothing any more.',
  former: (n: number) => form(n, { one: '1 link was withdrawn.', other: `${n} links were withdrawn.` }),
  noAnswer: 'The daemon does not answer. It was not done, or nobody knows: look at the list.',
  notDone: (status: number) => `It was not done (${status}).`,
} as const;

catalogue('text.seatlinks', { seatlinks });
