// Regions as somebody draws them on a map: rectangles of cells, kept on the mat.

import { getJSON } from './link/history';
import { post } from './link/post';
import type { PlaceKind, Region } from './link/types';
import type { Piece } from './piece';
import { drawing as text } from './text.drawing';

export type Span = [number, number];

export interface Cell {
  row: number;
  column: number;
}

export interface Size {
  rows: number;
  columns: number;
}

export interface Found extends Piece {
  at: string | null;
  found: (Region & { cells: number; why: string })[];
  missing: { id: string; why: string }[];
}

const path = (place: string) => `/api/v1/places/${encodeURIComponent(place)}/regions`;

/** Asks where the body is on the mat now. */
export const find = (place: string) => getJSON<Found>(path(place));

/** Asks how regions stand in the configuration, and what would be wrong with them. */
export function judge(place: string, regions: readonly Region[]): Promise<Piece> {
  return post<Piece>(path(place), { regions: regions.map(({ id, rows, columns }) => ({ id, rows, columns })) }, text);
}

/** Names as the trade has them, to choose from; others are as good. */
export const NAMES: Record<PlaceKind, readonly string[]> = {
  bed: ['head', 'shoulders', 'back', 'elbow_left', 'elbow_right', 'pelvis', 'sacrum', 'trochanter_left', 'trochanter_right', 'thighs', 'knees', 'calves', 'heels', 'heel_left', 'heel_right'],
  seat: ['ischial_left', 'ischial_right', 'sacrum', 'coccyx', 'trochanter_left', 'trochanter_right', 'thigh_left', 'thigh_right'],
  wrap: ['shin', 'calf', 'ankle_inner', 'ankle_outer', 'heel'],
};

/** A name that no region has yet. */
export function freshName(kind: PlaceKind, taken: readonly Region[]): string {
  const free = (n: string) => taken.every((r) => r.id !== n);
  return NAMES[kind].find(free) ?? `region_${[...taken.keys(), taken.length].map((i) => i + 1).find((i) => free(`region_${i}`))}`;
}

const ordered = (a: number, b: number): Span => (a <= b ? [a, b] : [b, a]);

/** The rectangle with two cells at opposite corners. */
export function between(a: Cell, b: Cell): { rows: Span; columns: Span } {
  return { rows: ordered(a.row, b.row), columns: ordered(a.column, b.column) };
}

const clamp = (v: number, low: number, high: number) => Math.max(low, Math.min(high, v));

function shifted([from, to]: Span, by: number, n: number): Span {
  const d = clamp(by, -from, n - 1 - to);
  return [from + d, to + d];
}

/** A region moved by rows and columns, as far as the mat reaches. */
export function moved(r: Region, rows: number, columns: number, size: Size): Region {
  return { ...r, rows: shifted(r.rows, rows, size.rows), columns: shifted(r.columns, columns, size.columns) };
}

/** A region whose last row and column are moved; it keeps one cell at least. */
export function stretched(r: Region, rows: number, columns: number, size: Size): Region {
  return {
    ...r,
    rows: [r.rows[0], clamp(r.rows[1] + rows, r.rows[0], size.rows - 1)],
    columns: [r.columns[0], clamp(r.columns[1] + columns, r.columns[0], size.columns - 1)],
  };
}

/** Which cell a point of a map is in; beyond its edge, the nearest. */
export function cellAt(x: number, y: number, box: { left: number; top: number; width: number; height: number }, size: Size): Cell {
  return {
    row: clamp(Math.floor(((y - box.top) / box.height) * size.rows), 0, size.rows - 1),
    column: clamp(Math.floor(((x - box.left) / box.width) * size.columns), 0, size.columns - 1),
  };
}
