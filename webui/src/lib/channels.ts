// Which channel is where: what an engineer needs who presses a cell.

import type { Feed } from './link/equipment';
import type { Region } from './link/types';
import { plain } from './format';
import { raw as text } from './text.raw';

/** What is known of a place's mat beyond its size. */
export type RegionsOf = (place: string) => readonly Region[];

/** The unit of readings as they come, in words: counts are no unit that has a sign. Pressures stay in theirs. */
export const rawUnit = (unit: string) => (unit === 'counts' ? text.counts : unit);

/** The first place that a source is the mat of; undefined where it is none. */
export function matOf(feeds: readonly Feed[]): Feed | undefined {
  return feeds.find((f) => f.rows > 0);
}

/** A mat's place and its regions at a channel; nothing where it is no cell of it. */
function inMat(channel: number, f: Feed, regionsOf: RegionsOf): string[] {
  if (channel >= f.rows * f.columns) return [];
  const row = Math.floor(channel / f.columns);
  const column = channel % f.columns;
  const regions = regionsOf(f.place).filter((r) => row >= r.rows[0] && row <= r.rows[1] && column >= r.columns[0] && column <= r.columns[1]);
  return [[f.place, ...regions.map((r) => plain(r.id))].join(', ')];
}

/** "row 33, column 19 (bed-4, pelvis)", "bench-1, ankle", or that no place uses it. Rows and columns count from 1, as on the pages of beds. */
export function channelPlace(channel: number, feeds: readonly Feed[], regionsOf: RegionsOf): string {
  const parts: string[] = [];
  for (const f of feeds) {
    for (const where of inMat(channel, f, regionsOf)) parts.push(text.cell(Math.floor(channel / f.columns) + 1, (channel % f.columns) + 1, where));
    for (const s of f.sites) if (s.channels.includes(channel)) parts.push(text.site(f.place, plain(s.site)));
  }
  return parts.join('; ') || text.unused;
}

/** The places and their parts, without row and column: "bed-4, pelvis", empty for none. */
export function channelParts(channel: number, feeds: readonly Feed[], regionsOf: RegionsOf): string {
  return feeds
    .flatMap((f) => [...inMat(channel, f, regionsOf), ...f.sites.filter((s) => s.channels.includes(channel)).map((s) => text.site(f.place, plain(s.site)))])
    .join('; ');
}

/** "channel 1042: row 33, column 19 (bed-4, pelvis)" */
export function channelName(channel: number, feeds: readonly Feed[], regionsOf: RegionsOf): string {
  return text.channelIs(channel, channelPlace(channel, feeds, regionsOf));
}
