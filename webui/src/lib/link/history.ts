// What the daemon remembers, over HTTP: used to fill a page at its beginning
// and to fill the hole that a lost connection leaves.

import { refused } from '../refused';

/** One signal's record. Entries are NaN where nothing was known. */
interface Series {
  readonly name: string;
  readonly t: Float64Array; // ms since the epoch
  readonly min: Float64Array;
  readonly mean: Float64Array;
  readonly max: Float64Array;
}

export interface Past {
  /** Duration of one point in ms. */
  readonly step: number;
  readonly series: readonly Series[];
}

interface Answer {
  step_s: number;
  series: { name: string; t: string[]; min: (number | null)[]; mean: (number | null)[]; max: (number | null)[] }[] | null;
}

const numbers = (list: (number | null)[]) => Float64Array.from(list, (x) => x ?? NaN);

/** Reads signals of a place between two instants in ms, at about so many points. */
export async function readPast(place: string, names: readonly string[], from: number, to: number, points: number): Promise<Past> {
  if (names.length === 0 || !(to > from)) return { step: 1000, series: [] };
  const query = new URLSearchParams();
  for (const name of names) query.append('name', name);
  query.set('from', new Date(from).toISOString());
  query.set('to', new Date(to).toISOString());
  query.set('points', String(Math.max(2, Math.min(2000, Math.round(points)))));
  const answer = await getJSON<Answer>(`/api/v1/places/${encodeURIComponent(place)}/signals?${query}`);
  return {
    step: answer.step_s * 1000,
    series: (answer.series ?? []).map((s) => ({
      name: s.name,
      t: Float64Array.from(s.t, (x) => Date.parse(x)),
      min: numbers(s.min),
      mean: numbers(s.mean),
      max: numbers(s.max),
    })),
  };
}

export async function getJSON<T>(path: string): Promise<T> {
  const response = await fetch(path, { headers: { Accept: 'application/json' }, signal: AbortSignal.timeout(10_000) });
  if (response.status === 401) refused.tell();
  if (!response.ok) throw new Error(`${path}: ${response.status}`, { cause: response.status });
  return (await response.json()) as T;
}

/** Whether the daemon keeps a record, as far as is known. */
export const record = { kept: true };

/** getJSON of what is in the record. Where there is none nobody is asked, and it fails as it would. */
export async function getKept<T>(path: string): Promise<T> {
  if (!record.kept) throw new Error(`${path}: 503`, { cause: 503 });
  return getJSON<T>(path);
}

/** Whether a question failed because there is no record. */
export const unkept = (problem: unknown) => (problem as Error).cause === 503;

let running = 0;
let took = NaN; // the last of them, in ms
const waiting: (() => void)[] = [];
/** What takes no longer than this, in ms, leaves room on its link for more at once. */
const QUICK = 250;

/** Whether what was read last took long, as over a thin link. */
export const slow = () => took > QUICK;

/** How many may run at once: one as long as nothing is known of the link. */
const most = () => (took <= QUICK ? 3 : 1);

/**
 * Runs a task when fewer than three are running, so that a ward's worth of requests does not crowd
 * out the page; over a thin link when none is, so that enough of it is left for the present.
 */
export async function inTurn<T>(task: () => Promise<T>): Promise<T> {
  while (running >= most()) await new Promise<void>((go) => waiting.push(go));
  running++;
  const began = performance.now();
  try {
    return await task();
  } finally {
    running--;
    took = performance.now() - began;
    for (const go of waiting.splice(0, most() - running)) go();
  }
}
