import { describe, expect, it } from 'vitest';
import { beating, sorted, standing, type Condition, type Heartbeat } from './itself';

const clock = (at: string) => at.slice(11, 16);
const condition = (over: Partial<Condition>): Condition => ({
  id: 'disk', state: 'well', value: 41.26, limit: 2, unit: 'GB', above: false, after_s: 60, priority: 'medium', since: null, text: '', ...over,
});
const heart = (over: Partial<Heartbeat>): Heartbeat => ({ reaches: 'webhook at https://desk', every_s: 60, state: 'well', taken_at: '2026-03-01T14:03:00Z', trouble: '', since: null, ...over });

describe('the daemon itself', () => {
  it('says each number against its limit', () => {
    expect(standing(condition({}))).toBe('41 GB; an alert below 2 GB for 60 s');
    expect(standing(condition({ id: 'silence', unit: 's', above: true, value: 3.04, limit: 300, after_s: 0 }))).toBe('3 s; an alert above 5 min');
    expect(standing(condition({ value: null }))).toBe('not known; an alert below 2 GB for 60 s');
    expect(standing(condition({ state: 'off', value: null }))).toBe('not watched here');
  });

  it('puts first what is wrong', () => {
    const all = [condition({ id: 'a' }), condition({ id: 'b', state: 'off' }), condition({ id: 'c', state: 'raised' }), condition({ id: 'd', state: 'unknown' }), condition({ id: 'e', state: 'beyond' })];
    expect(sorted(all).map((c) => c.id)).toEqual(['c', 'e', 'd', 'a', 'b']);
  });

  it('says of a heartbeat when it was heard last, and why it is not', () => {
    expect(beating(heart({}), clock)).toBe('A beat every 60 s; the last was taken 14:03.');
    expect(beating(heart({ state: 'untried', taken_at: null }), clock)).toBe('A beat every 60 s; none was taken yet.');
    expect(beating(heart({ state: 'failing', trouble: 'desk:443 refuses connections' }), clock)).toBe('Not taken, and tried with the next; the last was taken 14:03: desk:443 refuses connections');
    expect(beating(heart({ state: 'held', trouble: 'the loop that judges does not turn' }), clock)).toContain('Held back');
  });
});
