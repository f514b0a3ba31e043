import { expect, it } from 'vitest';
import { byPlace, byPriority, byUrgency, keepOrder, nextDue, soonest, worst } from './order';
import { alert, hold, place } from './testplace';

const raised = (priority: 'high' | 'medium' | 'low', since: string) => ({
  state: 'alert' as const,
  holds: [hold({ raised: true, priority, since })],
});

it('by place counts numbers as numbers', () => {
  const ids = ['bed-10', 'bed-2', 'bed-1'].map((id) => place(id)).sort(byPlace).map((p) => p.id);
  expect(ids).toEqual(['bed-1', 'bed-2', 'bed-10']);
});

it('by urgency: alerts, then silence, then what is over and nobody has looked at, then what is due first', () => {
  const list = [
    place('quiet'),
    place('due-later', { state: 'building', holds: [hold({ due_at: '2031-01-01T11:00:00Z' })] }),
    place('due-soon', { holds: [hold({ due_at: '2031-01-01T10:30:00Z' })] }),
    place('silent', { state: 'unknown' }),
    place('raw', { state: 'uncalibrated' }),
    place('over', { state: 'over' }),
    place('low', raised('low', '2031-01-01T09:00:00Z')),
    place('high-late', raised('high', '2031-01-01T10:00:00Z')),
    place('high-early', raised('high', '2031-01-01T09:30:00Z')),
  ];
  expect(list.sort(byUrgency).map((p) => p.id)).toEqual([
    'high-early', 'high-late', 'low', 'silent', 'over', 'raw', 'due-soon', 'due-later', 'quiet',
  ]);
});

it('the next due time leaves out what is raised, and what is not due', () => {
  expect(nextDue(place('a'))).toBe(Infinity);
  expect(
    nextDue(place('a', {
      holds: [hold({ due_at: '2031-01-01T10:00:00Z', raised: true }), hold({ due_at: null }), hold({ due_at: '2031-01-01T12:00:00Z' })],
    })),
  ).toBe(Date.UTC(2031, 0, 1, 12));
});

it('the soonest is the first of those whose limit is reached first', () => {
  const at = (id: string, due_at: string | null) => place(id, { holds: [hold({ due_at })] });
  expect(soonest([])).toBeUndefined();
  expect(soonest([at('a', null)])).toBeUndefined();
  const first = soonest([at('a', '2031-01-01T12:00:00Z'), at('b', '2031-01-01T10:00:00Z'), at('c', '2031-01-01T10:00:00Z')]);
  expect([first?.place.id, first?.due]).toEqual(['b', Date.UTC(2031, 0, 1, 10)]);
});

it('the worst priority counts open alerts and raised holds only', () => {
  expect(worst(place('a', { alerts: [alert({ priority: 'high', state: 'normal', cleared_at: '2031-01-01T10:00:00Z' })] }))).toBeNull();
  expect(worst(place('a', { alerts: [alert({ priority: 'low' })], holds: [hold({ raised: true })] }))).toBe('medium');
});

it('alerts: gravest first, longest standing first among equals', () => {
  const list = [
    { id: 'b', priority: 'low' as const, raised_at: '2031-01-01T08:00:00Z' },
    { id: 'c', priority: 'high' as const, raised_at: '2031-01-01T10:00:00Z' },
    { id: 'a', priority: 'high' as const, raised_at: '2031-01-01T09:00:00Z' },
  ];
  expect(list.sort(byPriority).map((x) => x.id)).toEqual(['a', 'c', 'b']);
});

it('an order that is looked at stays, whatever comes and goes', () => {
  expect(keepOrder(['c', 'a', 'b'], ['a', 'b', 'c'])).toEqual(['c', 'a', 'b']);
  expect(keepOrder(['c', 'a', 'b'], ['a', 'c', 'd'])).toEqual(['c', 'a', 'd']);
});
