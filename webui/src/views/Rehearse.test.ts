import { cleanup, fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import { live } from '../lib/live.svelte';
import { asking, type Question } from '../lib/testlink';
import { hold, place } from '../lib/testplace';
import Rehearse from './Rehearse.svelte';

let all: Question[];
const asked = async (part: string, nth = 0) => vi.waitFor(() => expect(all.filter((q) => q.path.includes(part))[nth]).toBeTruthy()).then(() => all.filter((q) => q.path.includes(part))[nth]!);
const AT = '2031-01-01T10:00:00Z';

beforeEach(() => {
  all = asking();
  who.take('E-2');
  live.now = Date.parse(AT);
});
afterEach(() => {
  cleanup();
  who.forget();
  vi.unstubAllGlobals();
});

// Somebody would propose a limit for what another one does.
it('what one limit does is neither shown nor proposed as that of the next', async () => {
  render(Rehearse);
  (await asked('/places')).give({ places: [place('bed-1', { holds: [hold()] })] });
  (await asked('/proposals')).give({ proposals: [] });
  (await asked('/sessions')).give({ sessions: [] });
  const show = await screen.findByRole('button', { name: 'Show the field' });
  await fireEvent.click(show);
  await fireEvent.click(show);
  expect(all.filter((q) => q.body !== undefined).length).toBe(1);
  const field = { signal: 'pelvis.pressure', unit: 'mmHg', upper: true, limits: [30, 40], delays_s: [60], raised: [[3], [1]], limit_now: 30, delay_now_s: 60, span_s: 7200, known_s: 7200, notes: [] };
  (await asked('/rehearsals')).give({ id: 'r1', place: 'bed-1', rule: 'long-load', from: AT, to: AT, state: 'made', share: 1, why: '', notes: [], field });
  const beside = (comes: number) => ({ before: 0, after: comes, counts: { comes, goes: 0, moves: 0, stays: 0 }, changes: [], left_out: 0 });
  const first = await asked('limit=30');
  await fireEvent.input(screen.getAllByRole('slider')[0]!, { target: { value: '1' } });
  (await asked('limit=40')).give(beside(88));
  await screen.findByText(/^88 come/);
  first.give(beside(99));
  await new Promise((go) => setTimeout(go, 5));
  expect(screen.queryByText(/^99 come/)).toBeNull();
  const propose = () => screen.getByRole<HTMLButtonElement>('button', { name: 'Keep the proposal' }).disabled;
  expect(propose()).toBe(false);
  await fireEvent.input(screen.getAllByRole('slider')[0]!, { target: { value: '0' } });
  expect(propose()).toBe(true);
});
