// Attempts at a wrap over HTTP, and when a step of one can be read.

import { getJSON, getKept } from './link/history';
import { post as send } from './link/post';
import type { Place, Site } from './link/types';
import { sentence, type Note } from './records';
import { bench as text } from './text.bench';

export type Step = 'bare' | 'applied' | 'lying' | 'standing' | 'walking';

export const STEPS: readonly Step[] = ['bare', 'applied', 'lying', 'standing', 'walking'];

export interface Value {
  value: number | null;
  u: number | null;
}

interface PlanSite {
  id: string;
  height_cm: number | null;
  girth_cm: number | null;
  /** null where the band is open, on both sides where nothing is aimed for. */
  low: number | null;
  high: number | null;
}

export interface Found {
  id: string;
  lying: Value;
  verdict: 'unknown' | 'free' | 'under' | 'inside' | 'over';
  /** It is further from the edges of its band than its uncertainty. */
  sure: boolean;
  residual: number | null;
  graded: boolean;
  fault: '' | 'lost' | 'reversed' | 'too steep';
  laplace: number | null;
  laplace_least: number | null;
  pull_n: number | null;
  /** Share of the greatest pull of all sites. */
  pulled: number | null;
  stiffness: Value;
  swing: Value;
  pressed: boolean;
}

export interface Attempt {
  id: string;
  place: string;
  code: string;
  lesson: string;
  author: string;
  begun_at: string;
  ended_at: string | null;
  state: 'running' | 'ended' | 'left';
  /** `named` says the standard and the class in words; '' for bands of one's own. */
  plan: { scheme: string; class: string; named: string; newtons: number | null; layers: number | null; width_cm: number | null; least: number | null; most: number | null; sites: PlanSite[] };
  readings: { step: Step; at: string; values: Value[] }[];
  /** '' after the last. */
  next: Step | '';
  result: { class: string; named: string; evenness: number | null; sites: Found[] };
  notes: Note[];
}

interface PressureClass {
  id: string;
  name: string;
  low: number | null;
  high: number | null;
  least: number | null;
  most: number | null;
}

export interface Scheme {
  id: string;
  name: string;
  where: string;
  source: string;
  above: string;
  classes: PressureClass[];
}

interface Prediction {
  laplace: number | null;
  laplace_least: number | null;
}

/** What is asked of a new attempt. */
export interface Wish {
  place: string;
  code: string;
  lesson: string;
  author: string;
  scheme?: string;
  class?: string;
  newtons: number;
  layers: number;
  width_cm: number;
  sites: { id: string; girth_cm: number; low?: number; high?: number }[];
}

const ALL = '/api/v1/attempts';
const of = (a: Attempt, what: string) => `${ALL}/${encodeURIComponent(a.id)}/${what}`;
const post = (to: string, body: object) => send<Attempt>(to, body, text, sentence);

export const readAttempts = async (state: Attempt['state']) => (await getKept<{ attempts: Attempt[] }>(`${ALL}?state=${state}`)).attempts;
export const readSchemes = () => getJSON<{ schemes: Scheme[]; over_estimate: string }>('/api/v1/compression');
export const begin = (wish: Wish) => post(ALL, { ...wish, lesson: wish.lesson || undefined, author: wish.author || undefined });
// What is asked names how many readings are known, so that two pages do not read one step twice.
export const read = (a: Attempt, step: Step) => post(of(a, 'readings'), { step, seen: a.readings.length });
export const end = (a: Attempt, author: string) => post(of(a, 'end'), { author: author || undefined });
export const leave = (a: Attempt, author: string) => post(of(a, 'leave'), { author: author || undefined });
export const tableHref = (by: 'lesson' | 'code', value: string) => `${ALL}.csv?state=ended&${by}=${encodeURIComponent(value)}`;

export async function predict(newtons: number, layers: number, width: number, girths: readonly number[]): Promise<Prediction[]> {
  const query = new URLSearchParams({ newtons: String(newtons), layers: String(layers), width_cm: String(width) });
  for (const g of girths) query.append('girth_cm', String(g));
  return (await getJSON<{ predictions: Prediction[] }>(`/api/v1/compression/prediction?${query}`)).predictions;
}

/** For how long, in ms, a limb must have been as a step asks before the step is read by itself. Those that are missing are read by the key alone. */
const LASTS: Partial<Record<Step, number>> = { lying: 5000, standing: 3000, walking: 8000 };

/** What the sensors tell of a limb, beside pressures: signals of its place. */
export const doings = (lowest: string) => [`${lowest}.resting`, `${lowest}.swing`, 'still', 'walking'];

/** The values of `doings`, NaN unknown. */
type Doings = readonly number[];

/** How far, in mmHg, the lowest site must have risen from lying to be taken to stand; where a wrap gives way more than that, the key reads. */
const RISEN = 3;

/** For how long, in ms, a leg that was told to stand has been still without a rise until that is said: longer than standing up takes. */
const STAYS = 10_000;

/** For how long, in ms, a leg that was told to walk has moved without strides that can be told until that is said: longer than falling into step takes. */
const STUMBLES = 20_000;

/**
 * Waits until a step may be read by itself: the limb has done for a while what it asks, as
 * far as the sensors tell. To stand, it must have moved and risen since it lay. What only a
 * person can tell is never read. Times are of the daemon, in ms.
 */
export class Waiting {
  #step: Step | '' = '';
  #since = NaN;
  #moved = false;
  #waits = NaN; // since when it has seemed to do as it was told, and is not read

  /** Why somebody who seems to have stood up is not read: there is no rise since lying, nothing to rise from, or it rose unseen, as where the page was loaded anew. And why somebody is not who seems to walk: there are no even strides. */
  lacks: '' | 'rise' | 'lying' | 'motion' | 'strides' = '';

  /** Looks at what is known now; true where the step is to be read. `lay` is the lowest site's level lying, NaN where it was not read. */
  look(now: number, step: Step | '', [resting = NaN, swing = NaN, still = NaN]: Doings, lay: number): boolean {
    if (step !== this.#step) this.again();
    this.#step = step;
    this.#moved ||= Number.isNaN(resting);
    const can = step === 'walking' ? !Number.isNaN(swing) : step === 'standing' ? this.#moved && resting - lay >= RISEN : step === 'lying' && !Number.isNaN(resting);
    const stays = step === 'standing' && !can && !Number.isNaN(resting);
    const stumbles = step === 'walking' && !can && still === 0;
    if (!stays && !stumbles) this.#waits = NaN;
    else if (Number.isNaN(this.#waits)) this.#waits = now;
    if (stumbles) this.lacks = now - this.#waits >= STUMBLES ? 'strides' : '';
    else this.lacks = stays && now - this.#waits >= STAYS ? (Number.isNaN(lay) ? 'lying' : resting - lay >= RISEN ? 'motion' : 'rise') : '';
    const lasts = step === '' ? undefined : LASTS[step];
    if (!can || lasts === undefined) {
      this.#since = NaN;
      return false;
    }
    if (Number.isNaN(this.#since)) this.#since = now;
    return now - this.#since >= lasts;
  }

  /** Begins anew: a step is to be read, or to be read again. */
  again(): void {
    this.#since = this.#waits = NaN;
    this.#moved = false;
    this.lacks = '';
  }
}

/** What a bare sensor may show in mmHg, as the daemon judges what was read. */
const BARE = 5;

/** Which of some pressures a bare sensor would not show. What is not known is none of them. */
export const pressing = (pressures: readonly number[]): number[] => pressures.flatMap((p, i) => (Math.abs(p) > BARE ? [i] : []));

/** The sites of an attempt as they are drawn: from the top down, each with what is aimed for. */
export function aimed(a: Attempt, place: Place): Site[] {
  return a.plan.sites.toReversed().map((s) => ({
    id: s.id,
    height_cm: s.height_cm,
    circumference_cm: s.girth_cm,
    target: bandOf(s),
    calibrated: place.sites.find((p) => p.id === s.id)?.calibrated ?? false,
  }));
}

/** The band of a site, Infinity where it is open above; null where nothing is aimed for. */
export function bandOf(s: { low: number | null; high: number | null }): [number, number] | null {
  return s.low === null && s.high === null ? null : [s.low ?? 0, s.high ?? Infinity];
}

/** Groups attempts by who made them, in the order of their codes; each group in the order of time. */
export function byCode(list: readonly Attempt[]): { label: string; attempts: Attempt[] }[] {
  const codes = [...new Set(list.map((a) => a.code))].sort((a, b) => a.localeCompare(b, 'en', { numeric: true }));
  return codes.map((label) => ({ label, attempts: list.filter((a) => a.code === label) }));
}
