// What the pages know: places, alerts and the connection as reactive state,
// and samples and maps as plain callbacks, since they never pass through
// component state.

import { SvelteMap } from 'svelte/reactivity';
import { Announcer } from './announce.svelte';
import { clockTime, setZone } from './format';
import { worst, type Filled } from './healing';
import { LiveLink, type Phase } from './link/socket';
import type { Alert, LiveEvent, Place, Subscription } from './link/types';
import type { Block, Frame, MapFrame } from './link/wire';
import { Ribbons } from './ribbons';
import { link as text } from './text';
import { isOpen, lasts } from './life';
import { withAlerts, withNews, withPlace } from './together';

type SampleSink = (base: number, block: Block) => void;
type MapSink = (frame: MapFrame) => void;
/** Fills what is missing between two instants, as far as the record holds it; gaps of `slack` are none. All in ms of server time. */
type Healer = (from: number, to: number, slack: number) => Promise<Filled>;

/** Real ms between two ticks over which the present may be carried on. */
const LAPSE = 3000;

export class Live {
  phase = $state<Phase>('connecting');
  /** Server time of the last news before the page became old, NaN for none. */
  since = $state(NaN);
  speed = $state(1);
  /** Server time in ms, once a second; NaN before the first word. */
  now = $state(NaN);
  /** The first snapshot has come. */
  loaded = $state(false);
  /** All places are known, and not only those that a page has asked for. */
  whole = $state(false);
  healed = $state('');
  alerts = $state.raw<Alert[]>([]);
  /** How many of them are open. */
  readonly open = $derived(this.alerts.filter(isOpen).length);
  readonly places = new SvelteMap<string, Place>();
  /** Names the configuration in force: what was fetched under another name is out of date. '' before the first word. */
  settings = $state('');
  /** Of the daemon; '' before the first word. */
  version = $state('');

  readonly ribbons = new Ribbons();
  readonly announcer = new Announcer();

  readonly #link: LiveLink;
  #streams = new Map<number, string>();
  #sinks = new Map<string, SampleSink>();
  #mapSinks = new Map<string, MapSink>();
  #healers = new Set<Healer>();
  #news: ReadonlySet<string> = new Set();
  #told = new Map<string, Place>(); // as the daemon has told of them
  #lost = NaN; // server time up to which all news have come, while a hole is open
  #last = NaN;
  #fresh = false; // another configuration has come into force since the last snapshot

  constructor(url: string) {
    this.#link = new LiveLink(url, {
      event: (e) => this.#event(e),
      frame: (f) => this.#frame(f),
      phase: (phase, last) => {
        this.phase = phase;
        this.since = last;
      },
    });
  }

  start(): void {
    // A page that wants nothing of its own is told of alerts and of the time,
    // and so is one whose part of the program has not come yet.
    this.#link.subscribe({ places: [], signals: [], maps: [] });
    this.#link.start();
    setInterval(() => this.#tick(), 1000);
  }

  /** Server time now, in ms, NaN before the first word; not reactive. */
  clock(): number {
    return this.#link.now();
  }

  #wants: Subscription['places'] = [];

  subscribe(s: Subscription): void {
    this.#wants = s.places;
    this.#link.subscribe(s);
  }

  /** Hands over every sample of one signal, "place/name". One sink a signal. */
  samples(name: string, sink: SampleSink): () => void {
    this.#sinks.set(name, sink);
    return () => {
      if (this.#sinks.get(name) === sink) this.#sinks.delete(name);
    };
  }

  maps(place: string, sink: MapSink): () => void {
    this.#mapSinks.set(place, sink);
    return () => {
      if (this.#mapSinks.get(place) === sink) this.#mapSinks.delete(place);
    };
  }

  heals(healer: Healer): () => void {
    this.#healers.add(healer);
    return () => this.#healers.delete(healer);
  }

  #tick(): void {
    const now = this.#link.now();
    if (Number.isNaN(now)) return;
    this.now = now;
    if (this.phase === 'live') this.ribbons.tick(now, this.#news, LAPSE * this.speed);
    const kept = this.alerts.filter((a) => lasts(a, now));
    if (kept.length !== this.alerts.length) this.alerts = kept;
  }

  #event(e: LiveEvent): void {
    switch (e.event) {
      case 'hello':
        this.speed = this.#link.clock.speed;
        if (Number.isNaN(this.#lost)) this.#lost = this.#last;
        setZone(e.zone);
        this.version = e.version;
        this.#fresh = e.settings !== this.settings && this.settings !== '';
        this.settings = e.settings ?? '';
        break;
      case 'snapshot':
        this.#snapshot(e);
        break;
      case 'place':
        this.#place(e.place);
        break;
      case 'places':
        for (const news of e.places) {
          const before = this.#told.get(news.id);
          if (before) this.#place(withNews(before, news));
        }
        break;
      case 'alert':
        this.#alert(e.what, e.alert);
        break;
      case 'beat':
        break;
    }
    this.#last = this.#link.now();
  }

  #snapshot(e: LiveEvent & { event: 'snapshot' }): void {
    const places = e.places ?? [];
    this.#streams = new Map((e.streams ?? []).map((s) => [s.stream, `${s.place}/${s.name}`]));
    for (const m of e.maps ?? []) this.#streams.set(m.stream, m.place);
    this.#news = new Set(places.map((p) => p.id));
    this.#told.clear();
    this.alerts = e.alerts ?? [];
    if (this.#fresh) for (const id of [...this.places.keys()]) if (!this.#news.has(id)) this.places.delete(id);
    if (this.#fresh) this.whole = false;
    this.whole ||= this.#wants === 'all';
    const expected = this.#fresh;
    this.#fresh = false;
    places.forEach((p) => this.#place(p));
    this.announcer.all(this.alerts);
    this.now = this.#link.now();
    this.loaded = true;
    if (!Number.isNaN(this.#lost)) void this.#heal(this.#lost, this.now, expected);
    this.#lost = NaN;
  }

  /** `expected` says that another configuration has come into force: of that nobody need be told, unless something is missing. */
  async #heal(from: number, to: number, expected: boolean): Promise<void> {
    // Columns that were begun before the loss are read again.
    const done = await Promise.allSettled([...this.#healers].map((h) => h(from - 1000 * this.speed, to, LAPSE * this.speed)));
    const failed = done.some((d) => d.status === 'rejected');
    const far = worst(done.map((d) => (d.status === 'fulfilled' ? d.value : 'nothing')));
    if (expected && !failed && far === 'all') return;
    const say = failed ? text.healedOnly : { all: text.healed, part: text.healedPart, nothing: text.healedNone }[far];
    this.healed = say(clockTime(from, to, true), clockTime(to, to, true));
    this.announcer.calm.say(this.healed);
  }

  #place(p: Place): void {
    this.#told.set(p.id, p);
    this.alerts = withPlace(this.alerts, p);
    this.#show(withAlerts(p, this.alerts));
  }

  #show(p: Place): void {
    this.ribbons.update(p);
    this.places.set(p.id, p);
  }

  #alert(what: string, a: Alert): void {
    // Of the same rule and subject only an episode that is done with stands beside this one.
    const others = this.alerts.filter((x) => x.id !== a.id || (x.state === 'normal' && x.cleared_at != null && x.raised_at !== a.raised_at));
    this.alerts = lasts(a, this.#link.now()) ? [a, ...others] : others;
    const place = this.places.get(a.place);
    if (place) this.#show(withAlerts(place, this.alerts));
    this.announcer.changed(what, a);
  }

  #frame(f: Frame): void {
    if (f.kind !== 'samples') {
      const place = this.#streams.get(f.stream);
      if (place !== undefined) this.#mapSinks.get(place)?.(f);
      return;
    }
    for (const block of f.blocks) {
      const name = this.#streams.get(block.stream);
      if (name !== undefined) this.#sinks.get(name)?.(f.base, block);
    }
    if (f.skipped) this.#skipped();
    this.#last = this.#link.now();
  }

  #repair: ReturnType<typeof setTimeout> | undefined;

  /** Newer samples replaced older ones on the way: the hole is read a little later, in one go. */
  #skipped(): void {
    const from = this.#last;
    this.#repair ??= setTimeout(() => {
      this.#repair = undefined;
      const to = this.#link.now();
      for (const healer of this.#healers) healer(from - 1000 * this.speed, to, LAPSE * this.speed).catch(() => undefined);
    }, 3000);
  }
}

const secure = location.protocol === 'https:';

export const live = new Live(`${secure ? 'wss' : 'ws'}://${location.host}/live`);
