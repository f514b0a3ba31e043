// The configuration file, over HTTP.

import { getJSON } from './link/history';
import { post } from './link/post';
import { configuration as text } from './text.configuration';

export interface Fault {
  /** From 1; 0 where there is no place. */
  line: number;
  column: number;
  text: string;
}

export interface ConfigFile {
  path: string;
  in_force: string;
  version: number;
  text: string;
  seal: string;
  faults: Fault[];
  locked: string;
}

export interface Checked {
  faults: Fault[];
  changes: string[];
  restart: string[];
}

export interface Version {
  version: number;
  at: string;
  by: string;
  text: string;
}

/** What came of applying: it is in force, the file has changed meanwhile, or it was refused in words. */
type Outcome = { done: true; version: number; changes: string[] } | { done: false; changed: boolean; why: string };

const PATH = '/api/v1/configuration';

export const readConfiguration = () => getJSON<ConfigFile>(PATH);
export const checkText = (body: string) => post<Checked>(`${PATH}/check`, { text: body }, text);
export const putPiece = async (file: string, piece: Piece) => (await post<{ text: string }>(`${PATH}/put`, { text: file, piece: piece.yaml, place: piece.place }, text)).text;

/** Former versions, the newest first; it fails where nothing is kept. */
export const readVersions = () => getJSON<{ versions: Version[]; more: boolean }>(`${PATH}/versions`);

export async function applyText(code: string, body?: string, seal?: string): Promise<Outcome> {
  let response: Response;
  try {
    response = await fetch(`${PATH}/apply`, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
      body: JSON.stringify({ code, text: body, seal }),
      signal: AbortSignal.timeout(60_000), // a ward's state is written before
    });
  } catch {
    return { done: false, changed: false, why: text.noAnswer };
  }
  const said = (await response.json().catch(() => null)) as { version?: number; changes?: string[]; detail?: string } | null;
  if (response.ok) return { done: true, version: said?.version ?? 0, changes: said?.changes ?? [] };
  return { done: false, changed: response.status === 409, why: said?.detail ?? text.notDone(response.status) };
}

/** A piece that another page has made, for the file. */
export interface Piece {
  yaml: string;
  /** Of regions: whose mat. */
  place?: string;
}

const KEY = 'weald.piece';

/** Lays a piece down for the editor, which takes it once. */
export function layDown(piece: Piece): void {
  sessionStorage.setItem(KEY, JSON.stringify(piece));
}

export function takeUp(): Piece | null {
  const laid = sessionStorage.getItem(KEY);
  sessionStorage.removeItem(KEY);
  return laid ? (JSON.parse(laid) as Piece) : null;
}

/** Where a line and column are in a text. */
export function offsetOf(body: string, line: number, column: number): number {
  let at = 0;
  for (let n = 1; n < line; n++) {
    const end = body.indexOf('\n', at);
    if (end < 0) return body.length;
    at = end + 1;
  }
  // Columns count characters, and some take two places.
  const rest = body.slice(at).split('\n', 1)[0]!;
  return at + [...rest].slice(0, Math.max(0, column - 1)).join('').length;
}
