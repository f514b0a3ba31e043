// Sessions, marks and exports over HTTP.

import { fromForm, toForm } from './format';
import { getKept } from './link/history';
import { post as send } from './link/post';
import type { PlaceKind } from './link/types';
import { marks, records as text } from './text.records';

export interface Note {
  at: string;
  author: string;
  text: string;
}

export interface Session {
  id: string;
  place: string;
  code: string;
  /** The version of the configuration that was in force. */
  config: number;
  begun_at: string;
  ended_at: string | null;
  notes: Note[];
  /** Whether the record still reaches back to what was read during it. */
  readings: 'kept' | 'partly' | 'gone';
}

export interface PlaceMark {
  id: number;
  at: string;
  what: string;
  text: string;
  author: string;
}

export interface Export {
  id: string;
  place: string;
  format: string;
  from: string | null;
  to: string | null;
  state: 'waiting' | 'making' | 'made' | 'stopped' | 'failed';
  share: number;
  files: { name: string; bytes: number; rows: number }[];
  notes: string[];
  why: string;
}

export interface Kept {
  kept: { kind: string; since: string | null }[];
  until: string | null;
  bytes: number;
  free_bytes: number;
  config: number;
  disk_is_full: boolean;
}

const path = (...parts: string[]) => `/api/v1/${parts.map(encodeURIComponent).join('/')}`;

const post = <T>(to: string, body: object) => send<T>(to, body, text, sentence);

/** What is often noted at a place, as it is kept. */
export const MARKS: Record<PlaceKind, readonly string[]> = {
  bed: ['turned', 'stood up', 'skin checked'],
  seat: ['shifted', 'stood up', 'skin checked'],
  wrap: ['lying', 'standing', 'wrap applied', 'wrap taken off', 'stood up', 'walked'],
};

/** A mark as people read it. */
export const markWords = (what: string) => (Object.hasOwn(marks.said, what) ? marks.said[what]! : what);

/** "code: this looks like a name" to "This looks like a name." */
export function sentence(s: string): string {
  const plain = s.replace(/^[a-z_]+: /, '');
  return plain.charAt(0).toUpperCase() + plain.slice(1) + (/[.!?]$/.test(plain) ? '' : '.');
}

const orNothing = (s: string) => s.trim() || undefined;

export const begin = (place: string, code: string, notes: string, author: string) =>
  post<Session>(path('sessions'), { place, code: code.trim(), notes: orNothing(notes), author: orNothing(author) });
export const end = (session: string, notes: string, author: string) =>
  post<Session>(path('sessions', session, 'end'), { notes: orNothing(notes), author: orNothing(author) });
export const addNote = (session: string, notes: string, author: string) =>
  post<Session>(path('sessions', session, 'notes'), { notes, author: orNothing(author) });
export const setMark = (place: string, what: string, more: string, author: string) =>
  post<PlaceMark>(path('places', place, 'marks'), { what, text: orNothing(more), author: orNothing(author) });
export const order = (place: string, format: string, from: number, to: number) =>
  post<Export>(path('exports'), { place, format, from: stamp(from), to: stamp(to) });
export const stopExport = (id: string) => post<Export>(path('exports', id, 'stop'), {});

const stamp = (ms: number) => (Number.isFinite(ms) ? new Date(ms).toISOString() : undefined);

export const fileHref = (id: string, name: string) => path('exports', id, 'files', name);

export const readSessions = async (place = '') => (await getKept<{ sessions: Session[] }>(`${path('sessions')}${place ? `?place=${encodeURIComponent(place)}` : '?newest=50'}`)).sessions.reverse();
export const readMarks = async (place: string, newest: number) => (await getKept<{ marks: PlaceMark[] }>(`${path('places', place, 'marks')}?newest=${newest}`)).marks.reverse();
export const readExports = async () => (await getKept<{ exports: Export[] }>(path('exports'))).exports;
export const readKept = () => getKept<Kept>(path('record'));

/** Pages to print, each of which opens beside this one. */
export const reportHref = {
  session: (id: string) => `/api/v1/reports/session/${encodeURIComponent(id)}`,
  /** Without bounds the last night; both in ms. */
  night: (place: string, [from, to]: readonly [number, number] | readonly [] = []) => `/api/v1/reports/night/${encodeURIComponent(place)}${from === undefined || to === undefined ? '' : `?from=${stamp(from)}&to=${stamp(to)}`}`,
  trial: (code?: string) => `/api/v1/reports/trial${code ? `?person=${encodeURIComponent(code)}` : ''}`,
};

// The hours of a night are the daemon's (stream/report, nightBegins and nightEnds).
const [BEGINS, ENDS] = ['20:00', '08:00'];
const dayAfter = (day: string, days = 1) => new Date(Date.parse(`${day}T00:00Z`) + days * 86_400_000).toISOString().slice(0, 10);

/** The evening, as a form has it, on which the night began that is or the last one that was. */
export function lastEvening(now: number): string {
  const [day, time] = toForm(now).split('T') as [string, string];
  return time >= BEGINS! ? day : dayAfter(day, -1);
}

/** The bounds, in ms, of the night that began on an evening, as far as it is over; null where that is no day or is still to come. */
export function nightOf(evening: string, now: number): [number, number] | null {
  const from = fromForm(`${evening}T${BEGINS}`);
  if (Number.isNaN(from) || from >= now) return null;
  return [from, Math.min(now, fromForm(`${dayAfter(evening)}T${ENDS}`))];
}
