// A bridge and a source about which nothing is wrong, for tests.

import type { Bridge, Source } from './link/equipment';

export function newSource(id: string, more: Partial<Source> = {}): Source {
  return {
    id, number: 1, channels: 4, sends: 4, unit: 'counts', feeds: [{ place: 'bench-1', rows: 0, columns: 0, sites: [{ site: 'ankle', channels: [0, 1] }] }],
    frames: 1000, scans: 1000, gaps: 0, repeats: 0, late: 0, partial: 0, damaged: 0, stored: 0, unplaced: 0, saturated: 0,
    epochs: 1, offset_s: 1.76e9, skew_ppm: 12, rate: 10, nominal: 10, last_scan_at: null, last_seen_at: null,
    status_at: null, battery: null, battery_v: null, celsius: null, uptime_s: null, firmware: '',
    battery_state: '', battery_text: '', battery_left_s: null, health: null, calibrated: true, u: 1.5, trouble: '', ...more,
  };
}

export function newBridge(id: string, sources: Source[], more: Partial<Bridge> = {}): Bridge {
  return {
    id, link: '/dev/ttyACM0', format: 'line', state: 'open', since: null, trouble: '', trouble_since: null, next_try_at: null,
    connections: 1, bytes: 1, frames: 1, last_frame_at: null, bad: {}, last_bad: '', sources, unknown_sources: [], more_unknown: 0, ...more,
  };
}
