// Rehearsals and proposals over HTTP, and what the field shows of them.

import { bound, count, duration, fixed } from './format';
import { getJSON, getKept } from './link/history';
import { post as send } from './link/post';
import { sentence } from './records';
import { rehearse as text } from './text.rehearse';

export interface Field {
  signal: string;
  unit: string;
  upper: boolean;
  limits: number[];
  delays_s: number[];
  /** By limit, then by delay. */
  raised: number[][];
  limit_now: number;
  delay_now_s: number;
  span_s: number;
  known_s: number;
  notes: string[];
}

export interface Rehearsal {
  id: string;
  place: string;
  rule: string;
  from: string;
  to: string;
  state: 'waiting' | 'making' | 'made' | 'stopped' | 'failed';
  share: number;
  why: string;
  notes: string[];
  field?: Field;
  result?: Judged;
}

export interface Episode {
  subject: string;
  raised_at: string;
  cleared_at: string | null;
}

export interface Change {
  place: string;
  rule: string;
  change: 'comes' | 'goes' | 'moves' | 'stays';
  before: Episode | null;
  after: Episode | null;
}

export interface Beside {
  before: number;
  after: number;
  counts: { comes: number; goes: number; moves: number; stays: number };
  changes: Change[];
  left_out: number;
}

/** What every reading said by two rule sets. */
export interface Judged {
  scans: number;
  changes: Change[];
  left_out: number;
}

export interface Proposal {
  id: number;
  at: string;
  author: string;
  why: string;
  yaml: string;
  evidence: {
    place: string;
    rule: string;
    unit: string;
    from: string;
    to: string;
    known_s: number;
    limit: [number, number];
    delay_s: [number, number];
    alerts: [number, number];
    exactly?: { scans: number; counts: Beside['counts'] };
  };
}

const all = '/api/v1/rehearsals';
const path = (id: string, ...rest: string[]) => [all, encodeURIComponent(id), ...rest].join('/');
const post = <T>(to: string, body: object) => send<T>(to, body, text, sentence);

const time = (ms: number) => new Date(ms).toISOString();

export const ask = (place: string, rule: string, from: number, to: number) =>
  post<Rehearsal>(all, { place, rule, from: time(from), to: time(to) });
/** Judges every reading by the rules in force and by those with others in their place. */
export const askRules = (rules: string, from: number, to: number) => post<Rehearsal>(all, { rules, merge: true, from: time(from), to: time(to) });
/** The same for a field's rule with another limit and delay, over the field's stretch. */
export const exactly = (id: string, limit: number, delay_s: number) => post<Rehearsal>(path(id, 'exact'), { limit, delay_s });
export const look = (id: string) => getJSON<Rehearsal>(path(id));
export const stop = (id: string) => post<Rehearsal>(path(id, 'stop'), {});
export const beside = (id: string, limit: number, delay: number) => getJSON<Beside>(`${path(id, 'alerts')}?limit=${limit}&delay_s=${delay}`);
export const propose = (id: string, limit: number, delay_s: number, author: string, why: string, exact: string) =>
  post<Proposal>(path(id, 'proposals'), { limit, delay_s, author, why: why.trim() || undefined, exact: exact || undefined });
export const readProposals = async () => (await getKept<{ proposals: Proposal[] }>('/api/v1/proposals')).proposals;

export const busy = (r: Rehearsal | null) => r?.state === 'waiting' || r?.state === 'making';

/** What was judged, without what other rules say twice. */
export function differing(j: Judged, rule: string): Beside {
  const changes = j.changes.filter((c) => c.rule === rule || c.change !== 'stays');
  const counts = { comes: 0, goes: 0, moves: 0, stays: 0 };
  for (const c of changes) counts[c.change]++;
  return {
    before: changes.filter((c) => c.before).length,
    after: changes.filter((c) => c.after).length,
    counts, changes, left_out: j.left_out,
  };
}

const DAY = 86_400;

/** Alerts a day; what is known for less than an hour is not made into a rate. */
export function perDay(n: number, known_s: number): number | null {
  return known_s >= 3600 ? (n * DAY) / known_s : null;
}

/** How dark a cell is, 0 to 1: the first few alerts make the most of a difference. */
export function shade(n: number, most: number): number {
  return n > 0 && most > 0 ? Math.log1p(n) / Math.log1p(most) : 0;
}

export function most(f: Field): number {
  return Math.max(0, ...f.raised.flat());
}

export function nearest(values: readonly number[], wanted: number): number {
  return values.reduce((best, v, i) => (Math.abs(v - wanted) < Math.abs(values[best]! - wanted) ? i : best), 0);
}

/** "above 60 mmHg". */
export function limitWords(upper: boolean, limit: number, unit: string): string {
  return (upper ? text.above : text.below)(bound(limit, unit));
}

/** "for 5 min". */
export function delayWords(delay_s: number): string {
  return text.lasting(duration(delay_s * 1000));
}

/** "12 alerts in 3 h that could be judged, 96 a day". */
export function alertWords(n: number, known_s: number): string {
  const rate = perDay(n, known_s);
  return text.alerts(n, duration(known_s * 1000), rate === null ? '' : rate < 10 ? fixed(rate, 1) : count(Math.round(rate)));
}
