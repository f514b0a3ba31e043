// The last hour of every place, as shares of tolerance used per subject: from
// the record at first and after a hole, and from then on by what the daemon
// says of the holds. Not reactive: ribbons are painted, not rendered.

import { Columns } from './columns';
import { filled, type Filled } from './healing';
import { inTurn, readPast } from './link/history';
import type { Place } from './link/types';
import { step } from './ramp';

export const HOUR = 3_600_000;
/** How a share is drawn: 0 to 63, -1 where it is not known. */
export function level(share: number): number {
  return Number.isNaN(share) ? -1 : step(share) >> 2;
}

/** One column of a ribbon. */
export const COLUMN = 10_000;
const COUNT = HOUR / COLUMN + 6;

export interface Row {
  readonly subject: string;
  readonly columns: Columns;
  /** The present share, NaN unknown. */
  used: number;
}

export class Ribbon {
  readonly rows: Row[];
  readonly key: string;
  /** Where a hole begins that the record can fill, in ms; null where there is none. */
  missing: number | null = -Infinity;
  #last = NaN; // how far it was carried on

  constructor(subjects: readonly string[]) {
    this.key = subjects.join(' ');
    this.rows = subjects.map((subject) => ({ subject, columns: new Columns(COUNT, COLUMN), used: NaN }));
  }

  /** Says by a text that differs when it does what rows show in the column of `now`, in the steps in which they are drawn, and which column that is. */
  tip(now: number): string {
    const shown = this.rows.map(({ columns }) => {
      const slot = columns.slot(columns.column(now));
      return slot < 0 ? '' : level(columns.hi[slot]!);
    });
    return `${this.key} ${Math.floor(now / COLUMN)} ${this.missing === -Infinity} ${shown.join(' ')}`;
  }

  /** The record up to `to` has been added. */
  filled(to: number): void {
    this.missing = null;
    if (!(this.#last >= to)) this.#last = to;
  }

  /** Carries the present shares on to `to`. Over more than `most` ms nobody knows what they were: that is a hole. */
  extend(to: number, most: number): void {
    const known = to - this.#last <= most;
    if (!known && this.missing === null) this.missing = this.#last;
    const from = known ? this.#last : to;
    for (const { columns, used } of this.rows) {
      for (let t = (columns.column(from) + 1) * COLUMN; t < to; t += COLUMN) columns.add(t, used);
      columns.add(to, used);
    }
    this.#last = to;
  }
}

/** The subjects of a place in the order of the body: regions as they are named, sites from the top down, then the rest. */
export function bodyOrder(place: Place): string[] {
  const watched = new Set(place.holds.map((h) => h.subject));
  const sites = place.sites.toSorted((a, b) => (b.height_cm ?? 0) - (a.height_cm ?? 0)).map((s) => s.id);
  const known = [...sites, ...(place.mat?.regions ?? []).map((r) => r.id)];
  const rest = [...watched].filter((s) => !known.includes(s)).sort();
  return [...known.filter((s) => watched.has(s)), ...rest];
}

/** The share of its tolerance that a subject has used, over all rules; NaN where none is known. */
export function usedNow(place: Place, subject: string): number {
  let used = NaN;
  for (const h of place.holds) {
    if (h.subject !== subject || (h.condition === 'unknown' && !h.raised)) continue;
    if (!(used >= h.used)) used = h.used;
  }
  return used;
}

export class Ribbons {
  /** When the oldest record that was read begins, in ms; NaN before any was. */
  began = NaN;
  readonly #ribbons = new Map<string, Ribbon>();
  #filling = new Map<string, Promise<Filled>>();

  /** Takes what a place says of itself at `now` (ms). */
  update(place: Place): Ribbon {
    const subjects = bodyOrder(place);
    let ribbon = this.#ribbons.get(place.id);
    if (!ribbon || ribbon.key !== subjects.join(' ')) this.#ribbons.set(place.id, (ribbon = new Ribbon(subjects)));
    for (const row of ribbon.rows) row.used = usedNow(place, row.subject);
    return ribbon;
  }

  get(id: string): Ribbon | undefined {
    return this.#ribbons.get(id);
  }

  /** Carries ribbons on to now; `ids` are the places about which news come, and `most` is how long ago they may have come last. */
  tick(now: number, ids: Iterable<string>, most: number): void {
    for (const id of ids) this.#ribbons.get(id)?.extend(now, most);
  }

  /**
   * Reads what is missing up to `now` from the record, and says how much of it
   * is there; what lies after `hole.from` is missing in any case. Asking twice
   * asks once.
   */
  fill(place: Place, now: number, hole?: { from: number; slack: number }): Promise<Filled> {
    const running = this.#filling.get(place.id);
    if (running) return running;
    const task = this.#fill(place, now, hole).finally(() => this.#filling.delete(place.id));
    this.#filling.set(place.id, task);
    return task;
  }

  async #fill(place: Place, now: number, hole?: { from: number; slack: number }): Promise<Filled> {
    const ribbon = this.update(place);
    if (hole) ribbon.missing = Math.min(ribbon.missing ?? hole.from, hole.from);
    if (ribbon.missing === null) return 'nothing';
    const from = Math.max(ribbon.missing - COLUMN, now - HOUR);
    const names = place.holds.map((h) => `${h.subject}.used/${h.rule}`);
    const past = await inTurn(() => readPast(place.id, names, from, now, (now - from) / (hole ? hole.slack / 2 : COLUMN)));
    for (const series of past.series) {
      const row = ribbon.rows.find((r) => series.name.startsWith(`${r.subject}.used/`));
      if (!row) continue;
      for (let i = 0; i < series.t.length; i++) {
        row.columns.addRange(series.t[i]!, series.min[i]!, series.mean[i]!, series.max[i]!);
        if (series.max[i]! >= 0 && !(this.began <= series.t[i]!)) this.began = series.t[i]!;
      }
    }
    ribbon.filled(now);
    const known = (name: string) => ribbon.rows.some((r) => !Number.isNaN(r.used) && name.startsWith(`${r.subject}.used/`));
    return hole ? filled(past, Math.max(from, hole.from), now, hole.slack, known) : 'nothing';
  }
}

const SPANS = [HOUR / 6, HOUR / 2, HOUR];

/** What ribbons show: the last hour, or less while the record is younger than that. */
export function spanOf(began: number, now: number): number {
  return SPANS.find((s) => now - began <= s) ?? HOUR;
}
