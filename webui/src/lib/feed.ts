// The readings of a place's sites as they come: the latest value of each, and
// a trace of each. Samples are kept in typed arrays and never become state.

import { Columns } from './columns';
import { filled, type Filled } from './healing';
import { inTurn, readPast } from './link/history';
import type { Live } from './live.svelte';

/** How long a value is drawn on when no other follows. The daemon says itself when one becomes unknown. */
export const HOLD = 3000;

export class Feed {
  readonly place: string;
  readonly names: readonly string[];
  /** mmHg, NaN unknown. */
  readonly latest: Float64Array;
  /** Traces, made for one width of drawing and one span of time. */
  columns: Columns[] = [];
  /** Samples have come for columns that may have been drawn already. */
  late = false;

  #width = 0;
  #span = 0;
  readonly #live: Live;

  constructor(live: Live, place: string, names: readonly string[]) {
    this.#live = live;
    this.place = place;
    this.names = names;
    this.latest = new Float64Array(names.length).fill(NaN);
  }

  /** Takes samples until the returned function is called. */
  listen(): () => void {
    const stops = this.names.map((name, k) =>
      this.#live.samples(`${this.place}/${name}`, (base, { t, v }) => {
        const columns = this.columns[k];
        for (let i = 0; columns && i < t.length; i++) columns.add(base + t[i]!, v[i]!);
        if (v.length > 0) this.latest[k] = v[v.length - 1]!;
      }),
    );
    stops.push(this.#live.heals((from, to, slack) => this.fill(from, to, slack)));
    return () => stops.forEach((stop) => stop());
  }

  /** Makes room for traces of `width` columns over `span` ms, and reads them from the record. */
  shape(width: number, span: number): void {
    if (width === this.#width && span === this.#span) return;
    this.#width = width;
    this.#span = span;
    this.columns = this.names.map(() => new Columns(width + 64, span / width));
    const now = this.#live.clock();
    if (!Number.isNaN(now)) this.fill(now - span, now).catch(() => undefined);
  }

  /** Reads what lies between two instants, in ms, from the record, and says how much of it is there. */
  async fill(from: number, to: number, slack = HOLD): Promise<Filled> {
    const before = this.latest.map((v) => v);
    const columns = this.columns;
    if (columns.length === 0) return 'nothing';
    const begin = Math.max(from, to - this.#span);
    const points = ((to - begin) / this.#span) * this.#width;
    const past = await inTurn(() => readPast(this.place, this.names, begin, to, points));
    for (const s of past.series) {
      const into = columns[this.names.indexOf(s.name)];
      for (let i = 0; into && i < s.t.length; i++) into.addRange(s.t[i]!, s.min[i]!, s.mean[i]!, s.max[i]!);
    }
    this.late = true;
    return filled(past, begin, to, slack, (name) => !Number.isNaN(before[this.names.indexOf(name)]!));
  }
}
