// Die deutschen Wörter zum Zeichnen von Bereichen auf einer Karte.

import type { Said } from '../language';
import { plurals } from '../plural';
import type * as en from '../text.drawing';

const form = plurals('de');

export const drawing: Said<typeof en.drawing> = {
  begin: 'Bereiche zeichnen',
  end: 'Schließen, ohne etwas zu ändern',
  title: 'Bereiche als Vorschlag',
  how: 'Ziehen Sie über die Karte für einen neuen Bereich; ziehen Sie einen, um ihn zu verschieben, oder an einer Ecke, um ihn zu vergrößern. Mit der Tastatur: Pfeiltasten verschieben den Bereich mit dem Fokus, mit Umschalt ändern sie seine Größe, Entf nimmt ihn weg; die Zahlen darunter tun dasselbe.',
  counting: 'Zeilen und Spalten zählen hier ab 1, wie auf allen Seiten; in der Datei zählen sie ab 0.',
  find: 'Am Körper finden',
  finding: 'Die Karte wird angesehen\u00a0…',
  add: 'Einen Bereich hinzufügen',
  restart: 'Wie eingerichtet',
  foundOf: (n, t) => `${form(n, { one: '1 Bereich', other: `${n} Bereiche` })} gefunden auf der Karte von ${t}. Wer sich bewegt, verlässt sie: Sehen Sie nach, ob sie Platz lassen.`,
  foundNone: 'Es wurde kein Bereich gefunden; die vorhandenen bleiben, wie sie sind.',
  missing: (name, why) => `${name}: nicht gefunden, ${why}.`,
  none: 'Es ist kein Bereich gezeichnet.',
  name: 'Name',
  firstRow: 'Erste Zeile',
  lastRow: 'Letzte Zeile',
  firstColumn: 'Erste Spalte',
  lastColumn: 'Letzte Spalte',
  remove: (name) => `${name} wegnehmen`,
  short: 'Wegnehmen',
  region: (name, rows, columns) => `${name}: Zeilen ${rows[0] + 1} bis ${rows[1] + 1}, Spalten ${columns[0] + 1} bis ${columns[1] + 1}`,
  list: 'Gezeichnete Bereiche',
  piece: (place) => `Bereiche von ${place}`,
  where: (place) => `Für die Konfigurationsdatei, unter der Matte von ${place}, statt ihrer Bereiche, falls sie welche hat:`,
  noAnswer: 'Der Dienst antwortet nicht.',
  notDone: (status) => `Der Dienst hat es abgewiesen (${status}).`,
  silent: 'Ein Körper lässt sich nicht suchen: Die Matte sendet nichts, oder der Dienst antwortet nicht.',
};

export const piece: Said<typeof en.piece> = {
  well: 'Die Konfiguration würde mit diesem Stück angenommen.',
  faults: 'Mit diesem Stück würde die Konfiguration abgewiesen:',
  ofPiece: (line, column, why) => `Stück, Zeile ${line}, Spalte ${column}: ${why}`,
  ofFile: (line, column, why) => `Konfigurationsdatei, Zeile ${line}, Spalte ${column}: ${why}`,
};
