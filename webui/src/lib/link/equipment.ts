// Shapes of what the HTTP API says of bridges and sources. null is unknown.

/** A place that rests on a source: on all of it as a mat, or on some channels. */
export interface Feed {
  place: string;
  /** Of the place's mat, whose cells are the first channels row by row; 0 where the source is not its mat. */
  rows: number;
  columns: number;
  sites: { site: string; channels: number[] }[];
}

interface Finding {
  channel: number;
  /** "silent", "dead", "stuck", "open", "saturated" or "noisy". */
  state: string;
  since: string | null;
  left_out: boolean;
  text: string;
}

interface Health {
  /** How many channels are what; empty where all are sound as far as is known. */
  text: string;
  left_out: number;
  untried: number;
  findings: Finding[];
}

export interface Source {
  /** bridge/source */
  id: string;
  number: number;
  channels: number;
  /** Channels of its newest whole scan. */
  sends: number | null;
  /** "counts", "mmHg", or empty where nothing is said. */
  unit: string;
  feeds: Feed[];

  frames: number;
  scans: number;
  gaps: number;
  repeats: number;
  late: number;
  partial: number;
  damaged: number;
  stored: number;
  unplaced: number;
  /** Readings at the end of the range in the newest scan. */
  saturated: number;

  /** How often the device's clock began anew, with the first. */
  epochs: number;
  /** When the device's counter stood at 0, in seconds since 1970. */
  offset_s: number | null;
  skew_ppm: number | null;

  /** Scans a second, measured and as configured. */
  rate: number | null;
  nominal: number | null;
  last_scan_at: string | null;
  last_seen_at: string | null;

  status_at: string | null;
  /** Percent. */
  battery: number | null;
  battery_v: number | null;
  celsius: number | null;
  uptime_s: number | null;
  firmware: string;
  /** "unknown", "measuring", "charging", "falling", "empty", or "" where nothing watches it. */
  battery_state: string;
  battery_text: string;
  battery_left_s: number | null;

  health: Health | null;
  calibrated: boolean;
  /** Standard uncertainty in mmHg, the largest of its channels. */
  u: number | null;
  trouble: string;
}

export interface UnknownSource {
  number: number;
  frames: number;
  first_at: string;
  last_at: string;
  channels: number;
  first_readings: (number | null)[];
  readings: (number | null)[];
}

export interface Bridge {
  id: string;
  link: string;
  format: string;
  /** "connecting", "open", "waiting", "ended" or "stopped". */
  state: string;
  since: string | null;
  /** What is wrong, in plain words; empty where nothing is. */
  trouble: string;
  trouble_since: string | null;
  next_try_at: string | null;
  connections: number;
  bytes: number;
  frames: number;
  last_frame_at: string | null;
  bad: Record<string, number> | null;
  last_bad: string;
  messages?: { offered: number; duplicates: number; dropped: Record<string, number> };
  capture?: { file: string; bytes: number; error: string };
  sources: Source[] | null;
  unknown_sources: UnknownSource[] | null;
  more_unknown: number;
}

/** The newest readings of a source, as delivered. */
export interface Raw {
  at: string | null;
  channels: (number | null)[];
}
