import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { Announcer } from './announce.svelte';
import { alert } from './testplace';

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

describe('what is spoken', () => {
  it('at first only how many alerts are open', () => {
    const a = new Announcer();
    a.all([alert(), alert({ id: 'x' }), alert({ id: 'y', state: 'normal', cleared_at: '2031-01-01T10:01:00Z' })]);
    expect(a.calm.said).toBe('2 alerts are open.');
    expect(a.urgent.said).toBe('');
  });

  it('each new alert once, also when a reconnection tells of it again', () => {
    const a = new Announcer();
    a.all([]);
    a.raised(alert());
    expect(a.urgent.said).toBe('New medium priority alert, bed-1: pelvis above 32 mmHg');
    a.urgent.said = '';
    vi.advanceTimersByTime(5000);
    a.raised(alert());
    a.all([alert()]);
    expect(a.urgent.said).toBe('');
  });

  it('what was raised while the connection was lost', () => {
    const a = new Announcer();
    a.all([]);
    a.all([alert({ priority: 'high' })]);
    expect(a.urgent.said).toMatch(/New high priority alert/);
  });

  it('an alert that cleared and came again, again', () => {
    const a = new Announcer();
    a.all([]);
    a.raised(alert());
    a.cleared(alert());
    expect(a.calm.said).toMatch(/^Cleared, bed-1/);
    vi.advanceTimersByTime(5000);
    a.urgent.said = '';
    a.raised(alert({ raised_at: '2031-01-01T11:00:00Z' }));
    expect(a.urgent.said).toMatch(/New medium/);
  });

  // It ended while it called, and is gone with its rule an hour later: heard twice it would be two.
  it('the end of an alert once, though its rule ends too', () => {
    const a = new Announcer();
    a.all([alert()]);
    vi.advanceTimersByTime(5000);
    const ended = { cleared_at: '2031-01-01T10:05:00Z', since: '2031-01-01T10:05:00Z' };
    a.changed('cleared', alert({ ...ended, state: 'returned-unacknowledged' }));
    expect(a.calm.said).toMatch(/^Cleared, bed-1/);
    vi.advanceTimersByTime(5000);
    a.calm.said = '';
    a.changed('cleared', alert({ ...ended, state: 'normal', since: '2031-01-01T11:05:00Z' }));
    expect(a.calm.said).toBe('');
  });

  // It ended and calls on: whoever has heard of it need not hear that it is new.
  it('a latched alert is not new again when the connection comes back', () => {
    const a = new Announcer();
    a.all([]);
    a.raised(alert());
    const latched = alert({ state: 'latched', cleared_at: '2031-01-01T10:05:00Z', since: '2031-01-01T10:05:00Z' });
    a.changed('cleared', latched);
    vi.advanceTimersByTime(5000);
    a.urgent.said = '';
    a.all([latched]);
    expect(a.urgent.said).toBe('');
  });

  it('several in a moment as one message, a pause after the first', () => {
    const a = new Announcer();
    a.all([]);
    for (const id of ['a', 'b', 'c']) a.raised(alert({ id, text: id }));
    expect(a.urgent.said).toMatch(/: a$/);
    vi.advanceTimersByTime(3000);
    expect(a.urgent.said).toMatch(/^2 new alerts\. .*: b$/);
  });

  it('who takes an alert, and that nobody has', () => {
    const a = new Announcer();
    a.all([]);
    a.changed('escalated', alert({ tier: 2 }));
    expect(a.urgent.said).toBe('Still not acknowledged, bed-1: pelvis above 32 mmHg');
    a.changed('acknowledged', alert({ state: 'acknowledged', acknowledged_by: 'K-07' }));
    expect(a.calm.said).toBe('K-07 has it, bed-1: pelvis above 32 mmHg');
  });

  it('nothing of what is put aside, until it is taken back', () => {
    const a = new Announcer();
    a.all([alert({ id: 'x', state: 'shelved' })]);
    a.changed('raised', alert({ state: 'shelved' }));
    a.changed('cleared', alert({ state: 'out-of-service' }));
    expect([a.urgent.said, a.calm.said]).toEqual(['', '']);
    a.changed('shelf-ended', alert());
    expect(a.urgent.said).toMatch(/^New medium/);
  });

  it('low priority does not interrupt', () => {
    const a = new Announcer();
    a.all([]);
    a.raised(alert({ priority: 'low' }));
    expect(a.urgent.said).toBe('');
    expect(a.calm.said).toMatch(/New low priority/);
  });
});
