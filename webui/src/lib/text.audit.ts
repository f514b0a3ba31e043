// The words about who did what, and what leaves the machine.

import { catalogue } from './language';

export const audit = {
  title: 'Who did what',
  about: 'What people did, saw and took away; the newest first. Looks at a place are told once in a quarter of an hour. A later change of it shows, by the end of the chain below.',
  who: 'Who',
  person: 'About the person',
  show: 'Show',
  none: 'Nothing of the kind.',
  failed: 'The record does not answer.',
  newest: (n: number) => `The newest ${n}. The command shows all of it:`,
  columns: { at: 'When', who: 'Who', what: 'What' },
  itself: 'weald',
  /** Of a person who gave no code. */
  somebody: 'somebody',
  at: (place: string) => `at ${place}`,
  of: (code: string) => `of ${code}`,
  erased: '(erased)',
  head: 'The end of the chain is',
  headAbout: 'Note it down where nobody who can write the record can reach it. Later it shows whether anything before it was changed, or cut off:',
  things: {
    places: 'all places', alerts: 'the alerts', sessions: 'the sessions', session: 'a session', marks: 'marks', attempts: 'the tries', attempt: 'a try', audit: 'this list',
    'alert-changes': 'what became of alerts', 'alert-figures': 'how alerts fare', rehearsals: 'rehearsals', proposals: 'proposals', everything: 'everything', 'my-seat': 'the own seat', 'my-seat-day': 'the day on the own seat',
  } as Record<string, string>,
  done: {
    viewed: 'looked at', exported: 'exported', reported: 'had a report made', 'backed-up': 'had the record copied', tested: 'had a test sent',
    configured: 'configuration', deleted: 'deleted, as the configuration asks', erased: 'erased a person’s data', logged: 'logging in', rehearsed: 'rehearsed',
    refused: 'was refused', unseen: 'looks that were not noted', acknowledge: 'acknowledged', shelve: 'shelved', unshelve: 'unshelved',
    'out-of-service': 'took out of service', 'in-service': 'took into service again', mark: 'made a mark', proposed: 'proposed a change',
    'seat-link-made': 'made a link', 'seat-link-withdrawn': 'withdrew a link', 'session-begun': 'began a session', 'session-ended': 'ended a session',
    'session-noted': 'wrote a note', 'attempt-begun': 'began a try', 'attempt-read': 'read a step of a try', 'attempt-ended': 'ended a try', 'attempt-left': 'left a try',
    calibrate: 'calibrated', 'calibration-refused': 'tried in vain to calibrate', check: 'checked a calibration', zero: 'zeroed', 'zero-undone': 'took back a zeroing',
    'account-made': 'made an account', 'account-role': 'gave another role', 'account-password': 'gave another password', 'account-removed': 'removed an account',
    'account-logged-out': 'ended log-ins', 'token-made': 'made a token', 'token-withdrawn': 'withdrew a token', 'screen-made': 'made a wall screen', 'screen-withdrawn': 'withdrew a wall screen',
  } as Record<string, string>,
} as const;

export const leaves = {
  title: 'What leaves this machine',
  none: 'Nothing, by itself. Whoever opens these pages gets what is on them.',
  some: 'This and nothing else, by itself. Whoever opens these pages gets what is on them.',
  columns: { by: 'Asked for by', to: 'Goes to', what: 'Has' },
  kinds: {
    alerts: 'alerts: place, rule, priority, the numbers that made it so, when; the code of who has it, and no reason; a test every day',
    beats: 'that the daemon does its work: a number, the time, the end of the audit’s chain, and nothing of places and people',
    directory: 'that somebody wants to log in, when somebody does; the directory tells who, and learns nothing of places and people',
    record: 'the whole record, to be kept on several machines',
    asks: 'what it takes to ask for readings, and no readings',
  },
} as const;

catalogue('text.audit', { audit, leaves });
