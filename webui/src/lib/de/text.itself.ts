// Die deutschen Wörter über den Dienst selbst, auf der Seite Einrichtung.

import type { Said } from '../language';
import type * as en from '../text.itself';

export const itself: Said<typeof en.itself> = {
  title: 'Weald selbst',
  version: (v) => `Das ist weald ${v}.`,
  well: 'Der Dienst findet an sich selbst nichts auszusetzen.',
  wrong: (n) => (n === 1 ? 'Der Dienst hat an sich selbst einen Fehler gefunden.' : `Der Dienst hat an sich selbst ${n} Fehler gefunden.`),
  failed: 'Der Dienst sagt nicht, wie es um ihn steht.',
  list: 'Was der Dienst an sich selbst beobachtet',
  names: {
    silence: 'Nichts kommt an',
    loop: 'Das Urteilen steht still',
    disk: 'Platz auf der Platte',
    clock_step: 'Die Uhr wurde gestellt',
    clock_error: 'Die Uhr kann falsch gehen',
    behind: 'Messwerte warten',
    memory: 'Freier Speicher',
    certificate: 'Das Zertifikat gilt noch',
    heartbeat: 'Lebenszeichen nicht angenommen',
    log: 'Messwerte warten im Protokoll',
  },
  units: { s: 's', GB: 'GB', '%': '%', d: 'd', beats: 'fehlen' },
  unknown: 'nicht bekannt',
  off: 'hier nicht beobachtet',
  above: (limit) => `eine Meldung über ${limit}`,
  below: (limit) => `eine Meldung unter ${limit}`,
  lasting: (t) => `für ${t}`,
  against: (now, limit, lasting) => `${now}; ${limit}${lasting ? ` ${lasting}` : ''}`,
  heartbeat: 'Wem gesagt wird, dass er lebt',
  noHeartbeat: 'Niemandem draußen: Die Konfiguration hat kein heartbeat. Ein Dienst, der nicht mehr läuft, kann nichts melden; wer auf sein Lebenszeichen wartet, würde es merken.',
  beats: (every, taken) => `Ein Lebenszeichen alle ${every}; ${taken}.`,
  held: (why, taken) => `Zurückgehalten, da der Dienst seine Arbeit nicht tut; ${taken}: ${why}`,
  failing: (why, taken) => `Nicht angenommen, und beim nächsten wieder versucht; ${taken}: ${why}`,
  taken: (t) => `das letzte wurde angenommen ${t}`,
  untaken: 'noch keines wurde angenommen',
};
