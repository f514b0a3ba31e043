import { expect, it } from 'vitest';
import { isAside, isCalling, isListed, isOpen, isStanding, lasts, verbs } from './life';
import type { AlertState } from './link/types';
import { worst } from './order';
import { standing } from './standing';
import { alert, hold, place } from './testplace';
import { withAlerts } from './together';

const STATES: AlertState[] = ['normal', 'unacknowledged', 'acknowledged', 'returned-unacknowledged', 'latched', 'shelved', 'suppressed', 'out-of-service'];

it('asks for somebody, is somebody\u2019s, or is put aside, and never two of these', () => {
  const of = (test: (a: ReturnType<typeof alert>) => boolean) => STATES.filter((state) => test(alert({ state })));
  expect(of(isCalling)).toEqual(['unacknowledged', 'latched']);
  expect(of(isOpen)).toEqual(['unacknowledged', 'acknowledged', 'latched']);
  expect(of(isAside)).toEqual(['shelved', 'suppressed', 'out-of-service']);
  expect(isStanding(alert({ raised_at: null }))).toBe(false);
  expect(isStanding(alert({ cleared_at: '2031-01-01T10:01:00Z' }))).toBe(false);
});

it('gives no line to what is put aside by design and does not stand', () => {
  expect(isListed(alert({ state: 'suppressed' }))).toBe(true);
  expect(isListed(alert({ state: 'suppressed', raised_at: null }))).toBe(false);
  expect(isListed(alert({ state: 'shelved', raised_at: null }))).toBe(true);
});

it('offers what the daemon would take', () => {
  expect(verbs(alert())).toEqual(['acknowledge', 'shelve', 'out-of-service']);
  expect(verbs(alert({ state: 'acknowledged' }))).not.toContain('acknowledge');
  expect(verbs(alert({ state: 'shelved' }))).toContain('unshelve');
  expect(verbs(alert({ state: 'out-of-service' }))).toEqual(['in-service']);
  expect(verbs(alert({ state: 'normal' }))).toEqual([]);
});

it('does not colour a place by what is put aside, and shows it all the same', () => {
  const raised = hold({ raised: true, used: 1 });
  const aside = alert({ state: 'shelved', by: 'K-07' });
  const bed = withAlerts(place('bed-1', { state: 'alert', holds: [raised] }), [aside]);
  expect(bed.alerts).toEqual([aside]);
  expect(bed.holds[0]!.raised).toBe(true);
  expect(worst(bed)).toBeNull();
  expect(standing(bed).word).not.toMatch(/priority/);
});

// A bed whose alert went by while nobody was there looks like one that never had any, and the skin under it is not looked at.
it('says of a place that somebody still has to look, until somebody has', () => {
  const over = alert({ state: 'returned-unacknowledged', cleared_at: '2031-01-01T10:05:00Z' });
  const bed = withAlerts(place('bed-1'), [over]);
  expect(standing(bed)).toMatchObject({ mark: 'over', word: 'still to look at' });
  expect(bed.alerts.filter(isListed)).toEqual([over]); // with its button, on the bed's own page
  expect(standing(withAlerts({ ...bed, state: 'unknown' }, [over])).word).toBe('no data, still to look at');
  expect(standing(withAlerts({ ...bed, state: 'over' }, [{ ...over, state: 'normal' as const }])).mark).toBe('quiet');
  expect(standing(withAlerts(bed, [alert({ id: 'x' }), over])).word).toBe('alert, medium priority');
});

// Somebody who gets up and lies down again puts it aside and takes it back: counted from then, it would never end.
it('lists what is over for twelve hours from when it ended, and what is done with for one', () => {
  const at = (hours: number) => Date.parse('2031-01-01T10:00:00Z') + 3_600_000 * hours;
  const over = alert({ state: 'returned-unacknowledged', cleared_at: '2031-01-01T10:00:00Z', since: '2031-01-01T18:00:00Z' });
  expect([11.9, 12].map((h) => lasts(over, at(h)))).toEqual([true, false]);
  expect(lasts({ ...over, cleared_at: null }, at(9))).toBe(false); // so long over that nobody knows when
  expect([8.9, 9].map((h) => lasts({ ...over, state: 'normal' }, at(h)))).toEqual([true, false]);
  expect(lasts({ ...over, state: 'shelved' }, at(99))).toBe(true);
});

it('says of a place that somebody has it', () => {
  const had = place('bed-1', { state: 'alert', alerts: [alert({ state: 'acknowledged', by: 'K-07' })] });
  expect(standing(had).word).toBe('alert, medium priority, acknowledged');
  expect(standing({ ...had, alerts: [...had.alerts, alert({ id: 'x' })] }).word).toBe('alert, medium priority');
});
