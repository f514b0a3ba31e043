// Die deutschen Wörter über Absender von Nachrichten, auf der Seite Meldungen.

import type { Said } from '../language';
import { plurals } from '../plural';
import type * as en from '../text.senders';

const form = plurals('de');

export const senders: Said<typeof en.senders> = {
  title: 'Wem es außer diesen Seiten gesagt wird',
  caution: 'Eine gesendete Nachricht ist keine gesehene, und weald ist kein medizinisches Alarmsystem.',
  none: 'Niemandem: Die Konfiguration nennt keine Absender. Meldungen stehen nur auf diesen Seiten.',
  failed: 'Der Dienst sagt nicht, wie es um seine Absender steht.',
  well: (t) => `Kommt durch; zuletzt angenommen ${t}.`,
  untried: 'Es wurde noch nichts gesendet.',
  failing: (why) => `Kam nicht durch, und wird wieder versucht: ${why}`,
  broken: (why) => (why ? `Kommt nicht durch: ${why}` : 'Kommt nicht durch: Eine Nachricht wurde aufgegeben.'),
  since: (t) => `seit ${t}`,
  next: (t) => `nächster Versuch ${t}`,
  waiting: (n, t) => `${form(n, { one: '1 Nachricht wartet', other: `${n} Nachrichten warten` })}, die älteste seit ${t}`,
  counts: (sent, givenUp) => `${sent} gesendet${givenUp ? `, ${givenUp} aufgegeben` : ''} seit dem Start`,
  test: (t) => `letzte Testnachricht angenommen ${t}`,
  noTest: 'noch keine Testnachricht angenommen',
  called: {
    trying: (id, from) => `noch nicht zugestellt von ${id}, versucht seit ${from}`,
    sent: (id, _, at) => `zugestellt von ${id} um ${at}`,
    'given-up': (id, _, at) => `aufgegeben von ${id} um ${at}`,
    withdrawn: (id, _, at) => `zurückgenommen von ${id} um ${at}`,
  },
  tierCalled: (n, how) => `Stufe ${n} ist gerufen: ${how.join('; ')}`,
};
