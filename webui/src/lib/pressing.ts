// A place that is set up by pressing its sensors, one after another.

import { post } from './link/post';
import type { PlaceKind } from './link/types';
import type { Piece } from './piece';
import { pressing as text } from './text.pressing';

export interface PressedSite {
  id: string;
  channels: number[];
}

/** The sites with a channel given to the site of a name: a new one where none is called so. A channel belongs to one site only. */
export function give(sites: readonly PressedSite[], name: string, channel: number): PressedSite[] {
  const rest = sites.map((s) => ({ ...s, channels: s.channels.filter((c) => c !== channel) }));
  const at = rest.findIndex((s) => s.id === name);
  if (at < 0) rest.push({ id: name, channels: [channel] });
  else rest[at]!.channels.push(channel);
  return rest.filter((s) => s.channels.length > 0);
}

/** Names in the order in which a limb is gone up, and those of other places. */
export const SITES: Record<PlaceKind, readonly string[]> = {
  wrap: ['foot', 'ankle', 'gaiter', 'calf', 'knee', 'thigh'],
  bed: ['head', 'shoulder_left', 'shoulder_right', 'sacrum', 'hip_left', 'hip_right', 'heel_left', 'heel_right'],
  seat: ['ischial_left', 'ischial_right', 'sacrum', 'thigh_left', 'thigh_right'],
};

/** The first name that no site has yet, empty where all are taken. */
export function nextName(kind: PlaceKind, sites: readonly PressedSite[]): string {
  return SITES[kind].find((n) => sites.every((s) => s.id !== n)) ?? '';
}

export type Edge = 'first_row' | 'last_row' | 'first_column' | 'last_column';

export interface PressedMat {
  rows: number;
  columns: number;
  head: Edge;
  seen_from: 'above' | 'below';
}

/** The most rows or columns of a mat. */
const MOST = 1024;

/** Rows and columns that so many channels can be, the squarest first. */
export function grids(channels: number): [number, number][] {
  const out: [number, number][] = [];
  for (let r = 2; 2 * r <= channels; r++) {
    if (channels % r === 0 && r <= MOST && channels / r <= MOST) out.push([r, channels / r]);
  }
  return out.sort(([r, c], [q, d]) => Math.max(r, c) - Math.max(q, d) || q - r);
}

/** How near to an edge, as a share of the mat, a press is at it; one that is as near to two is at neither. */
const AT_EDGE = 0.25;

/** The edge that a cell is at, null where that cannot be told. */
export function edgeOf(rows: number, columns: number, channel: number): Edge | null {
  const down = (Math.floor(channel / columns) + 0.5) / rows;
  const on = ((channel % columns) + 0.5) / columns;
  const far: [Edge, number][] = [['first_row', down], ['last_row', 1 - down], ['first_column', on], ['last_column', 1 - on]];
  far.sort((a, b) => a[1] - b[1]);
  return far[0]![1] <= AT_EDGE && far[1]![1] > AT_EDGE ? far[0]![0] : null;
}

/** The edge at the left of somebody who lies supine, or sits with the back at the head's edge, on a map as from above. */
const LEFT: Record<Edge, Edge> = { first_row: 'last_column', last_row: 'first_column', first_column: 'first_row', last_column: 'last_row' };

/** From where a map is seen, by its head and a cell at the person's left; null where that is no side of theirs. */
export function seenFrom(rows: number, columns: number, head: Edge, left: number): 'above' | 'below' | null {
  const along = head === 'first_row' || head === 'last_row';
  const share = along ? ((left % columns) + 0.5) / columns : (Math.floor(left / columns) + 0.5) / rows;
  if (Math.abs(share - 0.5) < 0.5 - AT_EDGE) return null;
  const first = LEFT[head] === 'first_column' || LEFT[head] === 'first_row';
  return share < 0.5 === first ? 'above' : 'below';
}

/** Asks how the place stands in the configuration, and what would be wrong with it. */
export function judge(id: string, kind: PlaceKind, source: string, sites: readonly PressedSite[], mat: PressedMat | null): Promise<Piece> {
  return post<Piece>(
    '/api/v1/setup/place',
    {
      id, kind,
      sites: sites.map((s) => ({ id: s.id, channels: s.channels.map((c) => `${source}/${c}`) })),
      mat: mat ? { source, ...mat } : undefined,
    },
    text,
  );
}
