import { cleanup, fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import { place } from '../lib/testplace';
import { asking, type Question } from '../lib/testlink';
import Accounts from './Accounts.svelte';
import Calibrate from './Calibrate.svelte';
import Exactly from './Exactly.svelte';
import Exports from './Exports.svelte';
import Passes from './Passes.svelte';
import SeatLinks from './SeatLinks.svelte';
import SessionList from './SessionList.svelte';
import SetMark from './SetMark.svelte';

// Over a weak link an answer takes seconds, in which somebody who saw nothing presses again, or
// writes on: what was pressed is done once, and what is written stays.

let all: Question[];
const sent = () => all.filter((q) => q.body !== undefined);
const reads = (end: string) => all.find((q) => q.body === undefined && q.path.endsWith(end))!;
const press = (name: string | RegExp) => fireEvent.click(screen.getByRole('button', { name }));
const write = (label: string, value: string) => fireEvent.input(screen.getByLabelText(label), { target: { value } });
const shown = (label: string) => screen.getByLabelText<HTMLInputElement>(label).value;
const AT = '2031-01-01T10:00:00Z';

beforeEach(() => {
  all = asking();
  who.take('N-4');
});
afterEach(() => {
  cleanup();
  who.forget();
  vi.unstubAllGlobals();
});

it('a mark that is pressed twice is set once, another one beside it too, and words that are not sent yet stay', async () => {
  const done = vi.fn();
  render(SetMark, { place: 'bed-1', kind: 'bed', done });
  await write('Something else', 'new mattress');
  await press('turned');
  await press('turned');
  await press('skin checked');
  expect(sent().map((q) => q.body.what)).toEqual(['turned', 'skin checked']);
  sent()[0]!.give({ id: 1, at: AT, place: 'bed-1', what: 'turned', text: '', author: 'N-4' });
  await vi.waitFor(() => expect(done).toHaveBeenCalled());
  expect(shown('Something else')).toBe('new mattress');
});

it('a link that is asked for twice is made once', async () => {
  render(SeatLinks, { place: 'seat-1' });
  reads('seat-1').give({ links: [] });
  await screen.findByRole('button', { name: 'Make a link' });
  await press('Make a link');
  await press('Make a link');
  expect(sent().length).toBe(1);
});

// Its key is shown once: of two, one could never be copied.
it('a wall screen that is asked for twice is made once, and the next name stays', async () => {
  render(Passes);
  const what = () => screen.getAllByLabelText<HTMLInputElement>('What it is for')[0]!;
  await fireEvent.input(what(), { target: { value: 'hall' } });
  await write('Addresses of the screen', '10.0.0.0/24');
  await press('Make the link');
  await press('Make the link');
  expect(sent().length).toBe(1);
  await fireEvent.input(what(), { target: { value: 'kitchen' } });
  sent()[0]!.give({ pass: { id: 'p1', name: 'hall', means: 'screen' }, key: 'k', url: 'http://x/screen#k' });
  await screen.findByRole('group', { name: 'hall' });
  expect(what().value).toBe('kitchen');
});

it('an export that is asked for twice is made once', async () => {
  render(Exports, { places: [place('bed-1')] });
  await press('Make the files');
  await press('Make the files');
  expect(sent().length).toBe(1);
});

it('a note goes to its session, and one that is being written of another stays', async () => {
  const session = (id: string) => ({ id, code: id, place: 'bed-1', begun_at: AT, ended_at: null, notes: [], config: '1', readings: '' }) as never;
  const changed = vi.fn();
  render(SessionList, { places: [], sessions: [session('K-1'), session('K-2')], changed });
  await press(/note .*K-1/i);
  const note = () => document.querySelector<HTMLInputElement>('[id$="-note"]')!;
  await fireEvent.input(note(), { target: { value: 'of one' } });
  await press('Save');
  await press('Save');
  await press(/note .*K-2/i);
  await fireEvent.input(note(), { target: { value: 'of the other' } });
  expect(sent().map((q) => [q.path, q.body.notes])).toEqual([['/api/v1/sessions/K-1/notes', 'of one']]);
  sent()[0]!.give({});
  await vi.waitFor(() => expect(changed).toHaveBeenCalled());
  expect(note()?.value).toBe('of the other');
});

it('what somebody asks about one account stays when another has been changed', async () => {
  const accounts = ['ida', 'kai'].map((name) => ({ name, role: 'carer', made_at: AT, made_by: 'x', directory: '', sessions: 0 }));
  render(Accounts);
  reads('/accounts').give({ accounts });
  const role = await screen.findByRole('combobox', { name: /kai/ });
  await fireEvent.change(role, { target: { value: 'viewer' } });
  await press(/password .*ida/i);
  const field = () => document.querySelector<HTMLInputElement>('[id$="-other"]')!;
  await fireEvent.input(field(), { target: { value: 'long enough for ida' } });
  sent()[0]!.give({ accounts });
  await screen.findByText(/kai.*viewer|viewer.*kai/i, { selector: '[role=status]' });
  expect(field()?.value).toBe('long enough for ida');
});

// The second would be read at the pressure of the first.
it('a key that is pressed twice reads one pressure', async () => {
  const level = (mmHg: number) => ({ cycle: 1, direction: 'up', reference_mmhg: mmHg, at: null, raw: [null], doubt: '' });
  const run = { id: 'r1', bridge: 'hub', source: 'leg', by: 'E-1', reference: 'g', begun_at: AT, dwell_s: 20, keyed: true, levels: [level(0), level(10)], next: 0, fitting: false, finished: false, hold_left_s: null, unsaved: '', channels: [] };
  render(Calibrate);
  reads('/run').give({ runs: [run] });
  await screen.findByRole('button', { name: /^It is at/ });
  await fireEvent.keyDown(document.body, { key: ' ' });
  await fireEvent.keyDown(document.body, { key: ' ' });
  expect(sent().map((q) => q.path)).toEqual(['/api/v1/calibrations/run/ready']);
});

// It occupies the daemon until it is made, for nobody.
it('what is begun for a page that is gone by then is stopped', async () => {
  let answer = (_: unknown) => {};
  const start = vi.fn(() => new Promise((go) => (answer = go)));
  render(Exactly, { words: 'Judge', rule: 'r', start: start as never });
  await press('Judge');
  await press('Judge');
  expect(start).toHaveBeenCalledTimes(1);
  cleanup();
  answer({ id: 'x1', state: 'making', share: 0, notes: [] });
  await vi.waitFor(() => expect(sent().map((q) => q.path)).toEqual(['/api/v1/rehearsals/x1/stop']));
});
