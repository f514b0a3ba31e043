// Places and holds for tests, plain but for what a test says of them.

import type { Alert, Hold, Place } from './link/types';

export function hold(part: Partial<Hold> = {}): Hold {
  return {
    rule: 'long-load', subject: 'pelvis', signal: 'pelvis.pressure', priority: 'medium', condition: 'yes', held_s: 0,
    on_delay_s: 60, used: 0, due_at: null, raised: false, since: null, limit: 32, ...part,
  };
}

export function place(id: string, part: Partial<Place> = {}): Place {
  return { id, kind: 'bed', state: 'quiet', text: `${id} as it is`, at: null, sites: [], signals: {}, alerts: [], holds: [], ...part };
}

export function site(id: string, height: number | null, part: Partial<Place['sites'][number]> = {}): Place['sites'][number] {
  return { id, height_cm: height, circumference_cm: null, target: null, calibrated: true, ...part };
}

export function alert(part: Partial<Alert> = {}): Alert {
  return {
    id: 'bed-1~long-load~pelvis', place: 'bed-1', rule: 'long-load', subject: 'pelvis', priority: 'medium', state: 'unacknowledged',
    since: '2031-01-01T10:00:00Z', raised_at: '2031-01-01T10:00:00Z', cleared_at: null, tier: 1, chattering: false,
    by: '', reason: '', until: null, acknowledged_at: null, acknowledged_by: '', value: 48, limit: 32, unit: 'mmHg', signal_known: true, text: 'pelvis above 32 mmHg', ...part,
  };
}
