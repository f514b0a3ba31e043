// Shapes of the HTTP API and of the JSON events of the live connection. null is
// unknown, everywhere.

export type Priority = 'high' | 'medium' | 'low';
export type PlaceState = 'alert' | 'over' | 'building' | 'quiet' | 'unknown' | 'uncalibrated';
export type AlertState =
  | 'normal'
  | 'unacknowledged'
  | 'acknowledged'
  | 'returned-unacknowledged'
  | 'latched'
  | 'shelved'
  | 'suppressed'
  | 'out-of-service';
export type PlaceKind = 'wrap' | 'bed' | 'seat';

export interface Signal {
  value: number | null;
  /** Standard uncertainty, in the signal's unit. */
  u: number | null;
  unit: string;
  at: string | null;
  /** A part of it lies outside of what its channel was calibrated for. */
  extrapolated?: boolean;
  /** A part of it was made by a calibration that is past its date. */
  expired?: boolean;
}

export interface Site {
  id: string;
  height_cm: number | null;
  circumference_cm: number | null;
  target?: [number, number] | null;
  calibrated: boolean;
}

export interface Region {
  id: string;
  /** First and last row and column, from 0, inclusive. */
  rows: [number, number];
  columns: [number, number];
}

interface Mat {
  rows: number;
  columns: number;
  regions: Region[];
  /** mmHg above which a cell counts as loaded on the map of durations. */
  loaded_above: number;
  calibrated: boolean;
}

export interface Hold {
  rule: string;
  subject: string;
  priority: Priority;
  condition: 'yes' | 'no' | 'unknown';
  held_s: number;
  on_delay_s: number;
  /** Share of the on-delay that has been held, 0 to 1. */
  used: number;
  /** When it will be raised if the condition lasts. */
  due_at: string | null;
  raised: boolean;
  since: string | null;
  signal: string;
  /** The bound that the signal is compared with, in its unit. */
  limit?: number | null;
  /** What has to be said beside the numbers. */
  note?: string;
  /** Why the condition is unknown although readings come. */
  waits?: string;
}

export interface Alert {
  id: string;
  place: string;
  rule: string;
  subject: string;
  priority: Priority;
  state: AlertState;
  /** Since when it is in this state. */
  since: string;
  /** null for one that was put aside and never raised. */
  raised_at: string | null;
  cleared_at: string | null;
  value: number | null;
  limit: number | null;
  unit: string;
  /** Of receivers, from 1; 0 while nobody is called. */
  tier: number;
  chattering: boolean;
  /** Code and words of the person by whom it is acknowledged, shelved or out of service. */
  by: string;
  reason: string;
  until: string | null;
  acknowledged_at: string | null;
  acknowledged_by: string;
  /** Whether what it watches is known at present. */
  signal_known: boolean;
  text: string;
}

export interface Place {
  id: string;
  kind: PlaceKind;
  state: PlaceState;
  text: string;
  /** When the newest evaluated scan was taken. */
  at: string | null;
  sites: Site[];
  mat?: Mat | null;
  signals: Record<string, Signal>;
  alerts: Alert[];
  holds: Hold[];
}

/** What has changed of a place since it was told of last: whole fields, and of its holds those that have. */
export type PlaceNews = Partial<Place> & { id: string };

interface StreamName {
  stream: number;
  place: string;
  name: string;
  unit: string;
}

interface MapName {
  stream: number;
  place: string;
  rows: number;
  columns: number;
}

export type LiveEvent =
  | { event: 'hello'; protocol: string; now: string; speed: number; version: string; zone?: string; settings?: string }
  | { event: 'snapshot'; now: string; places: Place[] | null; alerts: Alert[] | null; streams: StreamName[] | null; maps: MapName[] | null }
  | { event: 'alert'; what: string; alert: Alert }
  | { event: 'place'; place: Place }
  | { event: 'places'; places: PlaceNews[] }
  | { event: 'beat'; now: string };

export interface Subscription {
  places: string[] | 'all';
  signals: string[];
  maps: string[];
  /** Views come without their signals. */
  bare?: boolean;
  /** Of views comes what has changed. */
  news?: boolean;
}
