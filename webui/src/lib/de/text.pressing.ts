// Die deutschen Wörter zum Einrichten eines Platzes durch Drücken auf seine Sensoren.

import type { Said } from '../language';
import { plurals } from '../plural';
import type * as en from '../text.pressing';

const form = plurals('de');

export const pressing: Said<typeof en.pressing> = {
  title: 'Einen Platz durch Drücken einrichten',
  begin: 'Sensoren durch Drücken benennen\u00a0…',
  how: 'Drücken Sie fest auf einen Sensor, eine Sekunde lang. Nennt die Seite seinen Kanal, sagen Sie, was er ist, und drücken Sie den nächsten.',
  place: 'Name des Platzes',
  kind: 'Art',
  kinds: { wrap: 'Verband', bed: 'Bett', seat: 'Sitz' },
  site: 'Der gedrückte Sensor ist',
  use: (channel, site) => `Kanal ${channel} ist ${site}`,
  what: 'Einrichten',
  asSites: 'einzelne Sensoren',
  asMat: 'eine Matte aus allen Kanälen',
  grid: 'Zeilen und Spalten',
  gridOf: (rows, columns) => `${rows} Zeilen, ${columns} Spalten`,
  rowByRow: 'Kanäle zählen zeilenweise. Drücken Sie an einer Kante entlang: Springen Zeile und Spalte hier umher, wählen Sie ein anderes Raster.',
  cell: (row, column) => `Gedrückt: Zeile ${row}, Spalte ${column} dieses Rasters.`,
  matHow: 'Drücken Sie auf die Mitte der Kante am Kopf (beim Sitz: am Rücken), und sagen Sie es; dann auf die Kante links von jemandem, der auf dem Rücken liegt oder dort sitzt.',
  headHere: 'Das war der Kopf',
  backHere: 'Das war der Rücken',
  leftHere: 'Das war die linke Seite',
  headIs: (edge) => `Der Kopf ist an der Kante: ${edge}.`,
  backIs: (edge) => `Der Rücken ist an der Kante: ${edge}.`,
  edges: { first_row: 'erste Zeile', last_row: 'letzte Zeile', first_column: 'erste Spalte', last_column: 'letzte Spalte' },
  seen: { above: 'Die Karte zeigt die Matte von oben.', below: 'Die Karte zeigt die Matte von unten: Links und rechts sind vertauscht.' },
  noEdge: 'Das war nicht eindeutig an einer Kante: Drücken Sie näher an der Mitte der Kante.',
  noSide: 'Das war nicht eindeutig an einer Seite: Drücken Sie näher an der Kante.',
  noGrid: 'So viele Kanäle sind kein Raster aus Zeilen und Spalten.',
  press: 'Drücken Sie auf einen Sensor',
  next: 'Drücken Sie auf den nächsten Sensor',
  sites: 'Sensoren mit Namen',
  is: (site, channels) => `${site}: ${form(channels.length, { one: 'Kanal', other: 'Kanäle' })} ${channels.join(', ')}`,
  remove: (site) => `${site} wegnehmen`,
  already: (channel, site) => `Kanal ${channel} ist schon ${site}; er würde wechseln.`,
  piece: (place) => `Platz ${place}`,
  where: 'Für die Konfigurationsdatei, unter places:',
  noAnswer: 'Der Dienst antwortet nicht.',
  notDone: (status) => `Der Dienst hat es abgewiesen (${status}).`,
};
