import { describe, expect, it } from 'vitest';
import { details, standing, type Sender } from './senders';

const clock = (at: string) => at.slice(11, 16);
const sender = (over: Partial<Sender>): Sender => ({
  id: 'desk', reaches: 'webhook http://desk', state: 'well', trouble: '', trouble_since: null, next_try_at: null, waiting: 0, waiting_since: null,
  sent: 3, given_up: 0, withdrawn: 0, last_sent_at: '2026-03-01T14:03:00Z', last_test_at: '2026-03-01T08:00:00Z', calls: [], ...over,
});

describe('a sender', () => {
  it('says that it gets through, and when that was shown last', () => {
    expect(standing(sender({}), clock)).toBe('Gets through; it was last taken 14:03.');
    expect(details(sender({}), clock)).toEqual(['3 sent since the start', 'last test taken 08:00']);
  });

  it('is not said to get through before anything has', () => {
    expect(standing(sender({ state: 'untried', last_sent_at: null }), clock)).toBe('Nothing has been sent yet.');
    expect(standing(sender({ last_sent_at: null }), clock)).toBe('Nothing has been sent yet.');
    expect(details(sender({ sent: 0, last_test_at: null }), clock)).toContain('no test was taken yet');
  });

  it('says why it does not, what waits, and when it is tried again', () => {
    const broken = sender({ state: 'broken', trouble: 'desk:443 refuses connections', trouble_since: '2026-03-01T14:04:00Z', next_try_at: '2026-03-01T14:09:00Z', waiting: 2, waiting_since: '2026-03-01T14:04:00Z', given_up: 1 });
    expect(standing(broken, clock)).toBe('Does not get through: desk:443 refuses connections');
    expect(details(broken, clock)).toEqual(['since 14:04', '2 messages wait, the oldest since 14:04', 'next try 14:09', '3 sent, 1 given up since the start', 'last test taken 08:00']);
    expect(standing(sender({ state: 'broken' }), clock)).toBe('Does not get through: a message was given up.');
  });
});
