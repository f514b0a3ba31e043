// The words of drawing regions on a map.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const drawing = {
  begin: 'Draw regions',
  end: 'Close without a change',
  title: 'Regions to propose',
  how: 'Drag over the map for a new region; drag one to move it, or a corner to size it. By keyboard: arrow keys move the region that has the focus, with Shift they size it, Delete takes it away; the numbers below do the same.',
  counting: 'Rows and columns count from 1 here, as on all pages; in the file they count from 0.',
  find: 'Find from the body',
  finding: 'Looking at the map …',
  add: 'Add a region',
  restart: 'As configured',
  foundOf: (n: number, t: string) => `${form(n, { one: '1 region', other: `${n} regions` })} found on the map of ${t}. Somebody who moves leaves them: look whether they have room.`,
  foundNone: 'No region was found; those that were here are left as they are.',
  missing: (name: string, why: string) => `${name}: not found, ${why}.`,
  none: 'No region is drawn.',
  name: 'Name',
  firstRow: 'First row',
  lastRow: 'Last row',
  firstColumn: 'First column',
  lastColumn: 'Last column',
  remove: (name: string) => `Take away ${name}`,
  short: 'Take away',
  region: (name: string, rows: readonly [number, number], columns: readonly [number, number]) =>
    `${name}: rows ${rows[0] + 1} to ${rows[1] + 1}, columns ${columns[0] + 1} to ${columns[1] + 1}`,
  list: 'Drawn regions',
  piece: (place: string) => `regions of ${place}`,
  where: (place: string) => `For the configuration file, under the mat of ${place}, in the place of its regions if it has some:`,
  noAnswer: 'The daemon does not answer.',
  notDone: (status: number) => `The daemon refused it (${status}).`,
  silent: 'No body can be looked for: the mat sends nothing, or the daemon does not answer.',
} as const;

export const piece = {
  well: 'The configuration with this piece in it would be accepted.',
  faults: 'With this piece the configuration would be refused:',
  ofPiece: (line: number, column: number, why: string) => `piece, line ${line}, column ${column}: ${why}`,
  ofFile: (line: number, column: number, why: string) => `configuration file, line ${line}, column ${column}: ${why}`,
} as const;

catalogue('text.drawing', { drawing, piece });
