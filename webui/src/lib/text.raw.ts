// The words about readings as they arrive, in the setup.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const raw = {
  title: 'Raw readings, live',
  hint: 'Press a cell or a sensor: the one that changes most is named.',
  pause: 'Hold still',
  waiting: 'Waiting for a scan …',
  failed: 'The readings could not be had. Trying again by itself.',
  heldStill: (t: string) => `Held still: these are the readings of ${t}.`,
  old: (t: string) => `No scan since ${t}. What you see is old.`,
  settling: 'Press nothing yet: what is there at rest is being taken down.',
  idle: 'Nothing is being pressed.',
  now: 'Pressed now',
  last: (ago: string) => `Pressed last, ${ago} ago`,
  change: (from: string, to: string) => `from ${from} to ${to}`,
  others: (n: number) => form(n, { one: '1 other channel changed as well', other: `${n} other channels changed as well` }),
  channelIs: (n: number, where: string) => `channel ${n}: ${where}`,
  cell: (row: number, column: number, where: string) => `row ${row}, column ${column} (${where})`,
  site: (place: string, site: string) => `${place}, ${site}`,
  unused: 'no place uses it',
  channelHint: (last: number) => `0 to ${last}`,
  find: 'Find a channel',
  none: 'no reading',
  counts: 'counts',
  reads: (v: string, unit: string) => `${v} ${unit}`.trim(),
  image: (rows: number, columns: number) => `Map of the raw readings, ${rows} rows of ${columns}.`,
  legend: (top: string, unit: string) => `0 to ${top} ${unit}`.trim(),
  hatched: 'Hatched: no reading.',
  corner: 'Row 1, column 1 is the top left corner.',
  list: 'Readings by channel',
} as const;

catalogue('text.raw', { raw });
