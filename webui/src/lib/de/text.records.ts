// Die deutschen Wörter der Seite Aufzeichnungen, und von Notizen und längerer Geschichte auf den Seiten der Plätze.

import type { Said } from '../language';
import type * as en from '../text.records';

export const records: Said<typeof en.records> = {
  title: 'Aufzeichnungen',
  none: 'Es wird nichts aufbewahrt: Die Konfiguration nennt keinen Ordner dafür. Nennen Sie unter „data:“ einen.',
  failed: 'Die Aufzeichnung antwortet nicht.',
  again: 'Noch einmal fragen',
  place: 'Platz',
  code: 'Kürzel',
  codeHint: 'Steht für die Person, etwa K-07. Nie ein Name: Die Liste, wer wer ist, liegt anderswo.',
  notes: 'Notizen',
  rules: (n) => `Regeln ${n}`,
  rulesHint: 'die Fassung der Konfiguration, die galt',
  noAnswer: 'Der Dienst antwortet nicht, und es wurde nichts notiert. Versuchen Sie es noch einmal.',
  notDone: (status) => `Es wurde nichts notiert: Der Dienst antwortete mit ${status}.`,
  by: (code) => `von ${code}`,
  signed: (code) => `Was Sie hier notieren, trägt das Kürzel ${code}.`,
  other: 'Jemand anders',
};

export const sessions: Said<typeof en.sessions> = {
  title: 'Sitzungen',
  begin: 'Eine Sitzung beginnen',
  end: 'Die Sitzung beenden',
  ended: 'Beendet',
  begun: (code, at) => `Die Sitzung von ${code} begann um ${at}.`,
  none: 'Es wurde noch keine Sitzung begonnen.',
  noneHere: 'Keine Sitzung.',
  lasts: 'dauert an',
  addNote: 'Eine Notiz hinzufügen',
  save: 'Speichern',
  cancel: 'Abbrechen',
  saved: 'Notiert.',
  readings: { partly: 'Messwerte ihres Anfangs sind nicht mehr aufbewahrt.', gone: 'Ihre Messwerte sind nicht mehr aufbewahrt.' },
};

export const reports: Said<typeof en.reports> = {
  session: 'Bericht',
  sessionOf: (code) => `Bericht über die Sitzung von ${code}`,
  night: 'Bericht über die letzte Nacht',
  nights: 'Nächte',
  evening: 'Begann am Abend des',
  nightHint: 'Von 20:00 bis 8:00, oder bis jetzt.',
  nightOf: (bed) => `Bericht dieser Nacht in ${bed}`,
  noNight: 'Wählen Sie einen Abend, der schon war.',
  person: 'Nach Tagen',
  personOf: (code) => `${code} nach Tagen, alle Sitzungen auf einem Sitz`,
  trial: 'Alle auf einem Sitz, nach Person und Tag',
};

export const marks: Said<typeof en.marks> = {
  title: 'Vermerke',
  here: 'Sitzung und Vermerke',
  set: 'Vermerken',
  said: {
    turned: 'umgelagert', 'stood up': 'aufgestanden', 'skin checked': 'Haut angesehen', shifted: 'umgesetzt', lying: 'liegt', standing: 'steht',
    'wrap applied': 'Verband angelegt', 'wrap taken off': 'Verband abgenommen', walked: 'gegangen',
  },
  judged: { wrap: '„liegt“ und „steht“ sagen, wie das Bein jetzt ruht, oder ruhen wird, sobald es stillhält. Die Steifigkeit richtet sich danach, was auch immer erkannt wurde.' },
  other: 'Etwas anderes',
  otherHint: 'Was geschah, in wenigen Worten. Keine Namen.',
  latest: 'Neueste Vermerke',
  none: 'Hier wurde noch nichts vermerkt.',
  done: (what, at) => `Vermerkt: ${what}, um ${at}.`,
  columns: { at: 'Wann', what: 'Was', author: 'Wer' },
  unsigned: 'ohne Kürzel',
  newest: (n) => `Gezeigt sind die neuesten ${n}.`,
};

export const exporting: Said<typeof en.exporting> = {
  title: 'Ausgeben',
  about: 'Signale, Meldungen und Vermerke eines Platzes als Dateien. Ein Kürzel steht darin, ein Name nie.',
  format: 'Format',
  formats: { csv: 'CSV, für Tabellenprogramme', edf: 'EDF+, für Signalprogramme', parquet: 'Parquet, für Auswertungen', fhir: 'FHIR R4, nur die Messwerte' },
  span: 'Wie viel',
  spans: { 3600: 'die letzte Stunde', 28800: 'die letzten 8 Stunden', 86400: 'die letzten 24 Stunden', 604800: 'die letzten 7 Tage', 2678400: 'die letzten 31 Tage', 0: 'alles', own: 'von\u00a0… bis\u00a0…' },
  from: 'Von',
  to: 'Bis',
  wrongSpan: 'Geben Sie beide Zeiten an, die spätere zuletzt.',
  make: 'Dateien machen',
  stop: 'Anhalten',
  states: { waiting: 'wartet', making: 'wird gemacht', made: 'fertig', stopped: 'angehalten, nichts davon bleibt', failed: 'ließ sich nicht machen' },
  line: (place, format, span) => `${place}, ${format}, ${span}`,
  progress: (place) => `Ausgabe von ${place}`,
  beginning: 'Anfang',
  theEnd: 'Ende',
  between: (a, b) => `${a} bis ${b}`,
  file: (name, size) => `${name} (${size})`,
  goes: 'Dateien bleiben, bis der Dienst endet oder acht neuere gemacht sind.',
};

export const kept: Said<typeof en.kept> = {
  title: 'Was aufbewahrt ist',
  kinds: { readings: 'Messwerte', alerts: 'Meldungen', actions: 'Was Menschen mit Meldungen taten', marks: 'Vermerke', sessions: 'Sitzungen', attempts: 'Versuche auf der Übungsbank' },
  since: (t) => `seit ${t}`,
  none: 'noch keine',
  size: 'Sie belegen',
  free: 'Frei auf der Platte',
  full: 'Die Platte ist voll: Messwerte werden nicht aufbewahrt. Meldungen und was mit ihnen getan wird schon.',
};

export const past: Said<typeof en.past> = {
  title: 'Länger her',
  show: 'Zeige',
  spans: { 3600: '1 h', 28800: '8 h', 86400: '24 h', 604800: '7 d', 2678400: '31 d' },
  earlier: 'Früher',
  later: 'Später',
  newest: 'Neueste',
  closer: 'Näher',
  wider: 'Weiter weg',
  hint: 'Fläche vom niedrigsten zum höchsten Wert, Linie das Mittel. Offen, wo nichts bekannt ist. Ziehen geht durch die Zeit, zwei Finger holen näher heran, Berühren liest einen Augenblick ab; mit Tasten Bild auf und Bild ab, Plus und Minus und die Pfeile nach links und rechts.',
  loading: 'Es wird gelesen\u00a0…',
  failed: 'Die Geschichte ließ sich nicht lesen.',
  picture: (what, from, to) => `${what}, ${from} bis ${to}`,
  scale: (top) => `Jede Spur reicht von 0 bis ${top}.`,
  from: (a, b) => `${a} bis ${b}`,
  figures: (lo, mean, hi) => `${lo} bis ${hi}, im Mittel ${mean}`,
};
