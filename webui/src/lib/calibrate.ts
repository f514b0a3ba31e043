// Calibrations over HTTP: the one that goes on, and those that are kept.

import type { Bridge } from './link/equipment';
import { getKept } from './link/history';
import { post as send } from './link/post';
import { sentence } from './records';
import { calibrate as text } from './text.calibrate';
import { KPA, units } from './units.svelte';

export interface Level {
  cycle: number;
  direction: 'up' | 'down';
  reference_mmhg: number;
  /** null for those to come */
  at: string | null;
  /** One for each channel of the run, in counts; null where it did not settle. */
  raw: (number | null)[];
  /** Why it may not be at that pressure, and what to do; '' where there is no doubt. */
  doubt: string;
}

interface Candidate {
  model: string;
  branches: boolean;
  leave_one_out_mmhg: number | null;
  chosen: boolean;
  note: string;
}

type ChannelState = 'silent' | 'sparse' | 'waiting' | 'moving' | 'settled' | 'accepted' | 'accepted with warnings' | 'rejected' | 'refused';

export interface RunChannel {
  channel: number;
  state: ChannelState;
  raw: number | null;
  since_s: number;
  reasons: string[];
  candidates: Candidate[];
  u_highest_mmhg: number | null;
  curves: { raw: number[]; mmhg: number[] }[];
  /** The id of its record once that is in force. */
  kept: string;
}

export interface Run {
  id: string;
  bridge: string;
  source: string;
  by: string;
  reference: string;
  begun_at: string;
  dwell_s: number;
  keyed: boolean;
  levels: Level[];
  /** The level to go to, from 0; the number of levels when all have been read. */
  next: number;
  /** No more pressures are read, and what comes of them is being worked out. */
  fitting: boolean;
  finished: boolean;
  /** For how much longer the last pressure is held to learn creep; null where none is. */
  hold_left_s: number | null;
  /** Why what was read would not outlive the daemon; '' if it would. */
  unsaved: string;
  channels: RunChannel[];
}

export interface Kept {
  id: string;
  bridge: string;
  source: string;
  channel: number;
  at: string;
  by: string;
  model: string;
  branches: boolean;
  verdict: string;
  u_highest_mmhg: number | null;
  valid_until: string;
  past_its_date: boolean;
  /** It will soon be past its date. */
  due_soon: boolean;
}

/** A calibration that did not come into force. */
export interface RefusedCalibration {
  id: string;
  bridge: string;
  source: string;
  channel: number;
  at: string;
  by: string;
  state: 'refused' | 'rejected';
  reasons: string[];
}

/** One of a channel's calibrations: one of the two is set. */
export interface ChannelCalibration {
  at: string;
  by: string;
  kept?: Kept & { in_force: boolean };
  refused?: RefusedCalibration;
}

export interface AccountFigure {
  name: string;
  /** null where the readings do not tell */
  mmhg: number | null;
  percent_fs: number | null;
  /** null for a figure of the whole range */
  at_mmhg: number | null;
  /** '' where no limit is for it */
  verdict: '' | 'accepted' | 'accepted with warnings' | 'rejected';
}

/** What a record says for itself. */
export interface Account {
  /** null in what earlier programs kept */
  limits: { warn_percent_fs: number; reject_percent_fs: number } | null;
  figures: AccountFigure[];
  creep_per_decade_percent: number | null;
  levels: { mmhg: number; readings: number; loading: number | null; unloading: number | null; worst_mmhg: number; u_mmhg: number | null }[];
  readings: { cycle: number; direction: string; reference_mmhg: number; raw: number }[];
  residuals: { model: string; branches: boolean; chosen: boolean; left_mmhg: number[] }[];
  band: { mmhg: number[]; u_mmhg: number[] };
}

export interface Wish {
  bridge: string;
  source: string;
  channels: number[];
  by: string;
  reference: string;
  reference_u_mmhg: number;
  highest_mmhg: number;
  step_mmhg: number;
  cycles: number;
  dwell_s: number;
  hold_s: number;
  keyed: boolean;
  warn_percent_fs: number;
  reject_percent_fs: number;
}

const RUN = '/api/v1/calibrations/run';

interface Runs {
  runs: Run[];
}

const first = (r: Runs): Run | null => r.runs[0] ?? null;
const post = async (to: string, body: object) => first(await send<Runs>(to, body, text, sentence));

export const readRun = async () => first(await getKept<Runs>(RUN));
/** The most by which a gauge may err, in mmHg: as much as the least that is calibrated for. */
export const MOST_GAUGE = 30;

/**
 * The standard uncertainty of a gauge that errs by `most` either way, as any error between is
 * as likely as another (JCGM 100:2008, 4.3.7); null where that is no such error. Both in mmHg;
 * the limit is to a tenth, so that it is 4 kPa as well.
 */
export const gaugeU = (most: number | null): number | null => (most !== null && most > 0 && most < MOST_GAUGE + 0.05 ? most / Math.sqrt(3) : null);

export const begin = (wish: Wish) => post(RUN, wish);
// What is done names the run, so that a page that was left open does nothing to another.
export const step = (run: Run, what: 'ready' | 'again' | 'finish' | 'leave') => post(`${RUN}/${what}`, { run: run.id });
export const gauge = (run: Run, level: number, typed: Typed) => post(`${RUN}/gauge`, { run: run.id, level, ...typed });
export const keep = (run: Run) => post(`${RUN}/keep`, { run: run.id });
export const readKept = async () => (await getKept<{ calibrations: Kept[] }>('/api/v1/calibrations?in_force=true')).calibrations;
export const readRefused = async () => (await getKept<{ refused: RefusedCalibration[] }>('/api/v1/calibrations?refused=true')).refused;

/** All calibrations of a channel, the newest first. */
export async function readChannel(bridge: string, source: string, channel: number): Promise<ChannelCalibration[]> {
  const query = new URLSearchParams({ bridge, source, channel: String(channel) });
  const { calibrations, refused } = await getKept<{ calibrations: (Kept & { in_force: boolean })[]; refused: RefusedCalibration[] }>(`/api/v1/calibrations?${query}`);
  return [...refused.map((r) => ({ at: r.at, by: r.by, refused: r })), ...[...calibrations].reverse().map((k) => ({ at: k.at, by: k.by, kept: k }))].sort((a, b) => Date.parse(b.at) - Date.parse(a.at));
}

export const readAccount = async (id: string) => (await getKept<{ account: Account }>(`/api/v1/calibrations/${encodeURIComponent(id)}`)).account;
export const readRunAccount = (channel: number) => getKept<Account>(`${RUN}/channels/${channel}`);
export const sheetHref = (id: string) => `/api/v1/calibrations/${encodeURIComponent(id)}/sheet`;

/** A spot check: whether a record holds at one known pressure. */
export interface Check {
  at: string;
  by: string;
  reference_mmhg: number;
  error_mmhg: number;
  allowed_mmhg: number;
  holds: boolean;
  text: string;
}

/** What is taken off the pressures of a channel. */
export interface Off {
  bridge: string;
  source: string;
  channel: number;
  mmhg: number;
}

interface Zeroed {
  channels: number[];
  shown_mmhg: number[];
}

const checksOf = (id: string) => `/api/v1/calibrations/${encodeURIComponent(id)}/checks`;
export const readChecks = async (id: string) => (await getKept<{ checks: Check[] }>(checksOf(id))).checks;
export const check = (id: string, by: string, mmhg: number, u: number) => send<Check>(checksOf(id), { by, reference_mmhg: mmhg, reference_u_mmhg: u }, text, sentence);
export const readOff = async () => (await getKept<{ in_force: Off[] }>('/api/v1/zeroings')).in_force;
export const zero = (bridge: string, source: string, channels: number[], by: string, undo: boolean) =>
  send<Zeroed>('/api/v1/zeroings', { bridge, source, channels, by, undo }, text, sentence);

/** A source that has channels to choose from. */
interface ChannelSource {
  bridge: string;
  /** bridge/name */
  id: string;
  name: string;
  channels: number;
}

/** The sources of all bridges. */
export const sourcesOf = (list: readonly Bridge[] | null): ChannelSource[] =>
  (list ?? []).flatMap((b) => (b.sources ?? []).map((s) => ({ bridge: b.id, id: s.id, name: s.id.slice(b.id.length + 1), channels: s.channels })));

/** All channels of a source, as one types them. */
export const allOf = (s: ChannelSource | undefined) => (!s || s.channels === 1 ? '0' : `0-${s.channels - 1}`);

/** A pressure that somebody typed; who says the unit is sure of it. */
interface Typed {
  mmhg: number;
  sure: boolean;
}

/** A pressure as a gauge shows it: "40", in the shown unit, or "5.3 kPa", "5.3 mmHg"; null where it is none. */
export function gaugeOf(typed: string): Typed | null {
  const m = /^\s*(\d+(?:[.,]\d*)?)\s*(kPa|mmHg)?\s*$/i.exec(typed);
  if (!m) return null;
  const value = Number(m[1]!.replace(',', '.'));
  const kPa = (m[2] ?? units.pressure).toLowerCase() === 'kpa';
  return { mmhg: kPa ? value / KPA : value, sure: kPa || m[2] !== undefined };
}

/** "0-3, 7" to channels below `count`; null where it is none, or one is no channel. */
export function channelsOf(typed: string, count: number): number[] | null {
  const out = new Set<number>();
  for (const part of typed.split(',')) {
    const m = /^\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?$/.exec(part);
    if (!m) return null;
    const [low, high] = [Number(m[1]), Number(m[2] ?? m[1])];
    if (low > high || high >= count) return null;
    for (let c = low; c <= high; c++) out.add(c);
  }
  return [...out].sort((a, b) => a - b);
}

/** How many channels are in each state, those that matter most first. */
export function tally(run: Run): { state: ChannelState; count: number }[] {
  const order: ChannelState[] = ['refused', 'rejected', 'silent', 'sparse', 'moving', 'waiting', 'settled', 'accepted with warnings', 'accepted'];
  return order.map((state) => ({ state, count: run.channels.filter((c) => c.state === state).length })).filter((t) => t.count > 0);
}

/** Of each channel the last that did not come into force, where nothing has since; by channel. */
export function lastRefused(kept: readonly Kept[], refused: readonly RefusedCalibration[]): RefusedCalibration[] {
  const name = (c: Pick<Kept, 'bridge' | 'source' | 'channel'>) => `${c.bridge}/${c.source}/${c.channel}`;
  const since = new Map(kept.map((k) => [name(k), Date.parse(k.at)]));
  const last = new Map<string, RefusedCalibration>();
  for (const r of refused) if (!(Date.parse(r.at) <= (since.get(name(r)) ?? -Infinity))) last.set(name(r), r);
  return [...last.values()].sort((a, b) => `${a.bridge}/${a.source}`.localeCompare(`${b.bridge}/${b.source}`) || a.channel - b.channel);
}

/** A model in words. */
export function modelName(m: { model: string; branches: boolean }): string {
  const name = text.models[m.model] ?? m.model;
  return m.branches ? text.branches(name) : name;
}
