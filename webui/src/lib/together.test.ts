import { expect, it } from 'vitest';
import { standing } from './standing';
import { alert, hold, place } from './testplace';
import { withAlerts, withNews, withPlace } from './together';

const cleared = { state: 'normal' as const, cleared_at: '2031-01-01T10:05:00Z' };

it('an alert that the place has not told of yet is shown there, in its own words', () => {
  const bed = withAlerts(place('bed-1', { state: 'building', holds: [hold({ used: 0.99 })] }), [alert(), alert({ place: 'bed-2' })]);
  expect(standing(bed)).toMatchObject({ mark: 'medium' });
  expect(bed.alerts).toHaveLength(1);
  expect(bed.text).toBe('pelvis above 32 mmHg');
});

it('an alert that is cleared is no longer shown there, though the place has not said so', () => {
  const raised = place('bed-1', { state: 'alert', alerts: [alert()], holds: [hold({ used: 0.2, raised: true })] });
  expect(standing(withAlerts(raised, [alert(cleared)])).mark).toBe('quiet');
  expect(standing(withAlerts({ ...raised, holds: [hold({ raised: true, condition: 'unknown' })] }, [alert(cleared)])).mark).toBe('unknown');
  expect(withAlerts(raised, [alert()])).toEqual(raised);
});

// A rule that waits for a seat to be taken, say, has a condition that nobody knows, and the place is known all the same.
it('a place at which a rule waits for something is still to look at where the daemon says so', () => {
  const over = alert({ state: 'returned-unacknowledged', cleared_at: '2031-01-01T10:05:00Z' });
  const said = place('bed-1', { state: 'over', alerts: [over], holds: [hold({ condition: 'unknown', waits: 'nobody walks' })] });
  expect(withAlerts(said, [over]).state).toBe('over');
  expect(withAlerts(said, [{ ...over, state: 'normal' }]).state).toBe('quiet');
});

it('an alert of which a place tells first is counted, and one that was cleared meanwhile is not', () => {
  const raised = place('bed-1', { alerts: [alert()] });
  expect(withPlace([], raised)).toEqual([alert()]);
  expect(withPlace([alert(cleared)], raised)).toEqual([alert(cleared)]);
  const again = alert({ raised_at: '2031-01-01T10:10:00Z' });
  expect(withPlace([alert(cleared)], place('bed-1', { alerts: [again] }))).toEqual([again, alert(cleared)]);
});

it('news of a place leave what they do not name as it was, and so each of its holds', () => {
  const before = place('bed-1', { text: 'quiet', alerts: [alert()], holds: [hold({ subject: 'heels' }), hold({ subject: 'pelvis', used: 0.2 })] });
  const after = withNews(before, { id: 'bed-1', text: 'loaded', holds: [hold({ subject: 'pelvis', used: 0.3 })] });
  expect(after).toEqual({ ...before, text: 'loaded', holds: [before.holds[0], hold({ subject: 'pelvis', used: 0.3 })] });
  expect(withNews(before, { id: 'bed-1', alerts: [] })).toEqual({ ...before, alerts: [] });
});
