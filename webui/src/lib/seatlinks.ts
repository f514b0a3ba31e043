// Links to My seat, over HTTP.

import { getKept } from './link/history';
import { post as send } from './link/post';
import { sentence } from './records';
import { seatlinks as text } from './text.seatlinks';

export interface SeatLink {
  id: string;
  place: string;
  made_at: string;
  by: string;
  why: string;
  withdrawn_at: string | null;
  withdrawn_by: string;
  used_at: string | null;
}

export interface MadeLink {
  link: SeatLink;
  /** With its key: nobody can have it again. */
  url: string;
  qr: string[];
}

const PATH = '/api/v1/seat-links';

const post = <T>(to: string, body: object) => send<T>(to, body, text, sentence);

export const readLinks = async (place: string) => (await getKept<{ links: SeatLink[] }>(`${PATH}?place=${encodeURIComponent(place)}`)).links;
export const makeLink = (place: string, by: string, why: string) => post<MadeLink>(PATH, { place, by, why: why.trim() || undefined, base: location.origin });
export const withdrawLink = (id: string, by: string) => post<SeatLink>(`${PATH}/${encodeURIComponent(id)}/withdraw`, { by });

/** The dark modules of a QR code as an SVG path, each a unit square. */
export function darkPath(rows: readonly string[]): string {
  return rows.map((row, y) => [...row.matchAll(/1+/g)].map((run) => `M${run.index} ${y}h${run[0].length}v1h-${run[0].length}z`).join('')).join('');
}
