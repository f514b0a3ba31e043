// Die deutschen Wörter über Links zu Mein Sitz, auf der Seite eines Sitzes.

import type { Said } from '../language';
import { plurals } from '../plural';
import type * as en from '../text.seatlinks';

const form = plurals('de');

export const seatlinks: Said<typeof en.seatlinks> = {
  title: 'Mein Sitz: eine Seite für den, der sitzt',
  about: 'Ein Link öffnet auf einem Telefon diesen Sitz und sonst nichts: ohne Konto, bis Sie ihn zurücknehmen. Er sagt, wann zu entlasten ist, und erinnert, wo das Telefon es zulässt. Er ersetzt niemandes Pflege.',
  make: 'Link machen',
  why: 'Wofür',
  whyHint: 'Keine Namen.',
  only: 'Das wird einmal gezeigt. Wer es hat, sieht diesen Sitz: Lassen Sie es das Telefon dessen lesen, der sitzt, oder kopieren Sie es dorthin.',
  local: 'Er führt zu diesem Rechner, den kein Telefon erreicht. Öffnen Sie diese Seiten unter der Adresse, die Telefone erreichen, und machen Sie dort einen.',
  qr: 'Der Link als QR-Code',
  link: 'Link',
  done: 'Er ist auf dem Telefon',
  none: 'Kein Link gilt.',
  made: (id, t, by) => `${id}, gemacht ${t} von ${by}`,
  used: (t) => `zuletzt benutzt ${t}`,
  unused: 'nicht benutzt, seit der Dienst läuft',
  withdraw: 'Zurücknehmen',
  withdrawn: 'Er öffnet nichts mehr.',
  former: (n) => form(n, { one: '1 Link wurde zurückgenommen.', other: `${n} Links wurden zurückgenommen.` }),
  noAnswer: 'Der Dienst antwortet nicht. Es geschah nicht, oder niemand weiß es: Sehen Sie in die Liste.',
  notDone: (status) => `Es geschah nicht (${status}).`,
};
