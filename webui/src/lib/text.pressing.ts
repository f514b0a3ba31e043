// The words of setting up a place by pressing on its sensors.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const pressing = {
  title: 'Set up a place by pressing',
  begin: 'Name the sensors by pressing them …',
  how: 'Press one sensor, firmly, for a second. When the page names its channel, say what it is, and press the next.',
  place: 'Name of the place',
  kind: 'Kind',
  kinds: { wrap: 'wrap', bed: 'bed', seat: 'seat' },
  site: 'The pressed sensor is',
  use: (channel: number, site: string) => `Channel ${channel} is ${site}`,
  what: 'Set up',
  asSites: 'single sensors',
  asMat: 'a mat of all its channels',
  grid: 'Rows and columns',
  gridOf: (rows: number, columns: number) => `${rows} rows, ${columns} columns`,
  rowByRow: 'Channels count row by row. Press along one edge: if the row and column named here jump about, choose another grid.',
  cell: (row: number, column: number) => `Pressed: row ${row}, column ${column} of this grid.`,
  matHow: 'Press the middle of the edge at the head (on a seat, at the back), and say so; then the edge at the left of somebody who lies supine or sits there.',
  headHere: 'That was the head',
  backHere: 'That was the back',
  leftHere: 'That was the left side',
  headIs: (edge: string) => `The head is at the ${edge}.`,
  backIs: (edge: string) => `The back is at the ${edge}.`,
  edges: { first_row: 'first row', last_row: 'last row', first_column: 'first column', last_column: 'last column' },
  seen: { above: 'The map shows the mat as from above.', below: 'The map shows the mat as from below: left and right are exchanged.' },
  noEdge: 'That press was not clearly at one edge: press nearer to the middle of the edge.',
  noSide: 'That press was not clearly at a side of the person: press nearer to the edge.',
  noGrid: 'So many channels are no grid of rows and columns.',
  press: 'Press a sensor',
  next: 'Press the next sensor',
  sites: 'Sensors that have a name',
  is: (site: string, channels: readonly number[]) => `${site}: ${form(channels.length, { one: 'channel', other: 'channels' })} ${channels.join(', ')}`,
  remove: (site: string) => `Take away ${site}`,
  already: (channel: number, site: string) => `Channel ${channel} is ${site} already; it would move.`,
  piece: (place: string) => `place ${place}`,
  where: 'For the configuration file, under places:',
  noAnswer: 'The daemon does not answer.',
  notDone: (status: number) => `The daemon refused it (${status}).`,
} as const;

catalogue('text.pressing', { pressing });
