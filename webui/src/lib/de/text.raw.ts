// Die deutschen Wörter über Messwerte, wie sie ankommen, in der Einrichtung.

import type { Said } from '../language';
import { plurals } from '../plural';
import type * as en from '../text.raw';

const form = plurals('de');

export const raw: Said<typeof en.raw> = {
  title: 'Rohe Messwerte, live',
  hint: 'Drücken Sie auf eine Zelle oder einen Sensor: Genannt wird, wer sich am meisten ändert.',
  pause: 'Anhalten',
  waiting: 'Warten auf eine Abtastung\u00a0…',
  failed: 'Die Messwerte waren nicht zu bekommen. Es wird von selbst wieder versucht.',
  heldStill: (t) => `Angehalten: Dies sind die Messwerte von ${t}.`,
  old: (t) => `Keine Abtastung seit ${t}. Was Sie sehen, ist alt.`,
  settling: 'Noch nichts drücken: was in Ruhe da ist, wird gerade aufgenommen.',
  idle: 'Es wird nichts gedrückt.',
  now: 'Jetzt gedrückt',
  last: (ago) => `Zuletzt gedrückt, vor ${ago}`,
  change: (from, to) => `von ${from} auf ${to}`,
  others: (n) => form(n, { one: '1 weiterer Kanal hat sich auch geändert', other: `${n} weitere Kanäle haben sich auch geändert` }),
  channelIs: (n, at) => `Kanal ${n}: ${at}`,
  cell: (row, column, at) => `Zeile ${row}, Spalte ${column} (${at})`,
  site: (at, site) => `${at}, ${site}`,
  unused: 'kein Platz nutzt ihn',
  channelHint: (last) => `0 bis ${last}`,
  find: 'Einen Kanal finden',
  none: 'kein Messwert',
  counts: 'Zählwerte',
  reads: (v, unit) => `${v} ${unit}`.trim(),
  image: (rows, columns) => `Karte der rohen Messwerte, ${rows} Zeilen zu ${columns}.`,
  legend: (top, unit) => `0 bis ${top} ${unit}`.trim(),
  hatched: 'Schraffiert: kein Messwert.',
  corner: 'Zeile 1, Spalte 1 ist die Ecke oben links.',
  list: 'Messwerte nach Kanal',
};
