import { render, screen, within } from '@testing-library/svelte';
import { tick } from 'svelte';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { live } from '../lib/live.svelte';
import { alert, hold, place } from '../lib/testplace';
import Round from './Round.svelte';

const ids = () => screen.getAllByRole('listitem').map((li) => within(li).getByRole('heading').textContent);

beforeEach(() => {
  live.loaded = true;
  live.now = Date.UTC(2031, 0, 1, 10);
  for (const id of ['bed-10', 'bed-9', 'bed-1']) live.places.set(id, place(id));
});

afterEach(() => live.places.clear());

function raise(id: string): void {
  live.places.set(id, place(id, { state: 'alert', alerts: [alert({ place: id })], holds: [hold({ raised: true, since: '2031-01-01T09:59:00Z', used: 1 })] }));
}

it('is in the order of the ward, and says how things stand', async () => {
  render(Round);
  expect(ids()).toEqual(['bed-1', 'bed-9', 'bed-10']);
  expect(screen.getByText('3 places: nothing needs anybody now.')).toBeTruthy();
  raise('bed-9');
  await tick();
  expect(screen.getByText('3 places: 1 with an alert.')).toBeTruthy();
  expect(within(screen.getAllByRole('listitem')[1]!).getByText(/alert, medium priority/)).toBeTruthy();
});

it('counts for each reason apart: no data, over and not looked at, not calibrated', () => {
  live.places.set('bed-1', place('bed-1', { state: 'unknown' }));
  live.places.set('bed-9', place('bed-9', { state: 'over', alerts: [alert({ place: 'bed-9', state: 'returned-unacknowledged', cleared_at: '2031-01-01T09:59:00Z' })] }));
  live.places.set('bed-10', place('bed-10', { state: 'uncalibrated' }));
  render(Round);
  expect(screen.getByText('3 places: 1 without data, 1 still to look at, 1 not calibrated.')).toBeTruthy();
});

it('sorts by urgency when asked, and then moves nothing under the finger', async () => {
  raise('bed-9');
  render(Round);
  screen.getByRole('button', { name: 'by urgency' }).click();
  await tick();
  expect(ids()).toEqual(['bed-9', 'bed-1', 'bed-10']);
  live.places.set('bed-10', place('bed-10', { state: 'alert', holds: [hold({ raised: true, priority: 'high', since: '2031-01-01T10:00:00Z' })] }));
  await tick();
  expect(ids()).toEqual(['bed-9', 'bed-1', 'bed-10']);
  screen.getByRole('button', { name: 'Sort again' }).click();
  await tick();
  expect(ids()).toEqual(['bed-10', 'bed-9', 'bed-1']);
});

it('says when the next limit is reached, and what is not known as not known', async () => {
  live.places.set('bed-1', place('bed-1', { holds: [hold({ due_at: '2031-01-01T10:18:00Z', used: 0.2 })] }));
  live.places.set('bed-9', place('bed-9', { state: 'unknown' }));
  render(Round);
  const [due, silent, quiet] = screen.getAllByRole('listitem').map((li) => li.textContent);
  expect(due).toMatch(/in 18\smin/);
  expect(silent).toMatch(/no data.*not known/s);
  expect(quiet).toMatch(/nothing due/);
});

// A bed has several clocks, and its sentence tells of one of them: what is due says of which rule it is.
it('names the rule that is due first, and beside an alert does not sound as if all were well', () => {
  live.places.set('bed-1', place('bed-1', { holds: [hold({ rule: 'turn-due', due_at: '2031-01-01T10:44:00Z' }), hold({ rule: 'long-load', due_at: '2031-01-01T10:18:00Z' })] }));
  raise('bed-9');
  render(Round);
  const [due, raised] = screen.getAllByRole('listitem').map((li) => li.textContent);
  expect(due).toMatch(/due: long-load.*in 18\smin/s);
  expect(raised).toMatch(/nothing else due/);
});
