// An invented hospital's bridges with every kind of trouble, in the shape of
// GET /api/v1/bridges, for what would take hours or a broken mat to see.

const at = (agoS) => new Date(Date.now() - agoS * 1000).toISOString();

const source = (id, number, more) => ({
  id, number, channels: 4, sends: 4, unit: 'counts', feeds: [], frames: 20_000, scans: 20_000, gaps: 0, repeats: 0, late: 0, partial: 0,
  damaged: 0, stored: 0, unplaced: 0, saturated: 0, epochs: 1, offset_s: Date.now() / 1000 - 7000, skew_ppm: -4, rate: 10, nominal: 10,
  last_scan_at: at(0.2), last_seen_at: at(0.2), status_at: null, battery: null, battery_v: null, celsius: null, uptime_s: null, firmware: '',
  battery_state: '', battery_text: '', battery_left_s: null, health: null, calibrated: true, u: 1.5, trouble: '', ...more,
});

const bridge = (id, link, format, sources, more) => ({
  id, link, format, state: 'open', since: at(7200), trouble: '', trouble_since: null, next_try_at: null, connections: 1, bytes: 48_000_000,
  frames: 20_000, last_frame_at: at(0.2), bad: {}, last_bad: '', sources, unknown_sources: [], more_unknown: 0, ...more,
});

const dead = (channel, row, column) => ({
  channel, state: 'dead', since: at(5400), left_out: true,
  text: `The cell in row ${row}, column ${column} has read 3 for 90 min and has never answered, though what surrounds it moved 9 times: it is left out of the signals.`,
});

export function hospital() {
  return [
    bridge('hub', '/dev/ttyACM0', 'packed', [
      source('hub/mat1', 1, {
        channels: 2048, sends: 2048, feeds: [{ place: 'bed-1', rows: 64, columns: 32, sites: [] }], rate: 1.98, nominal: 2,
        gaps: 41, repeats: 3, late: 2, partial: 12, damaged: 5, stored: 120, unplaced: 4, saturated: 6, epochs: 3, skew_ppm: 38,
        status_at: at(20), battery: 12, battery_v: 3.47, celsius: 31, uptime_s: 6950, firmware: 'mat 1.2',
        battery_state: 'falling', battery_text: 'Battery 12 %, about 9 h left.', battery_left_s: 9 * 3600, u: 3,
        health: { text: '2 of 2,048 cells are dead; 2 left out of the signals.', left_out: 2, untried: 310, findings: [dead(101, 4, 6), dead(1042, 33, 19)] },
      }),
      source('hub/mat2', 2, { channels: 2048, rate: 0, nominal: 2, last_scan_at: at(95), trouble: 'nothing from it for 1m35s' }),
    ], {
      bad: { checksum: 37, coding: 2, source: 800 }, last_bad: 'checksum: the CRC is wrong', connections: 3,
      capture: { file: '/var/lib/weald/hub.wcap', bytes: 1_200_000, error: 'no space left on the device' },
      unknown_sources: [{ number: 7, frames: 800, first_at: at(400), last_at: at(0.1), channels: 12, first_readings: [512, null, 498, 501, 499, 500, 502, 497], readings: [510, null, 499, 500, 500, 501, 502, 498] }],
      more_unknown: 14,
    }),
    bridge('trolley', '/dev/ttyACM1', 'line', [source('trolley/leg', 0, { feeds: [{ place: 'bench-1', rows: 0, columns: 0, sites: [{ site: 'ankle', channels: [0, 1] }, { site: 'calf', channels: [2, 3] }] }], calibrated: false, u: null })]),
    bridge('gateway', 'mqtt 127.0.0.1:1883 weald/gateway/frames', 'packed', [source('gateway/seat', 1, { last_scan_at: null, rate: null, epochs: 0, offset_s: null, skew_ppm: null })], {
      state: 'waiting', trouble: 'no broker answers at 127.0.0.1:1883: is it running, and is the address right?', trouble_since: at(61), next_try_at: at(-4), frames: 0, last_frame_at: null,
      messages: { offered: 210, duplicates: 3, dropped: { retained: 12, oversized: 0, strange: 1 } },
    }),
  ];
}
