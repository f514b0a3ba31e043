import { cleanup, fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { Kept } from '../lib/calibrate';
import { layDown } from '../lib/configuration';
import { who } from '../lib/deeds.svelte';
import { asking, type Question } from '../lib/testlink';
import { place } from '../lib/testplace';
import Audit from './Audit.svelte';
import Configuration from './Configuration.svelte';
import MarkList from './MarkList.svelte';
import Passes from './Passes.svelte';
import Records from './Records.svelte';
import RegionEditor from './RegionEditor.svelte';
import SpotChecks from './SpotChecks.svelte';

// An answer that is late belongs to what was asked for, and not to what is shown or written by then.

let all: Question[];
const asked = async (part: string, nth = 0) => vi.waitFor(() => expect(all.filter((q) => q.path.includes(part))[nth]).toBeTruthy()).then(() => all.filter((q) => q.path.includes(part))[nth]!);
const AT = '2031-01-01T10:00:00Z';
const press = (name: string | RegExp) => fireEvent.click(screen.getByRole('button', { name, hidden: true }));

beforeEach(() => {
  all = asking();
  who.take('E-2');
});
afterEach(() => {
  cleanup();
  who.forget();
  vi.unstubAllGlobals();
});

it('the acts of everybody do not stand under the name of one', async () => {
  render(Audit);
  await fireEvent.input(screen.getByLabelText('Who'), { target: { value: 'ida' } });
  await press('Show');
  const act = (who: string) => ({ acts: [{ number: 1, at: AT, who, what: 'mark', person: '', place: '', subject: '', text: '', says: '' }], head: '' });
  (await asked('/audit', 1)).give(act('ida'));
  await screen.findByRole('cell', { name: 'ida' });
  (await asked('/audit')).give(act('kai'));
  await new Promise((go) => setTimeout(go, 5));
  expect(screen.queryByRole('cell', { name: 'kai' })).toBeNull();
});

it('the marks of one bed are not shown as those of the next', async () => {
  render(MarkList, { places: [place('bed-1'), place('bed-2')] });
  (await asked('bed-1')).give({ marks: [{ id: 1, at: AT, place: 'bed-1', what: 'hair washed', text: '', author: '' }] });
  await screen.findByText('hair washed');
  await fireEvent.change(screen.getByLabelText('Place'), { target: { value: 'bed-2' } });
  expect(screen.queryByText('hair washed')).toBeNull();
  (await asked('bed-2')).lose();
  await screen.findByRole('alert'); // and not that there are none
});

it('that there are no wall screens is not said before they have been read', async () => {
  render(Passes);
  const none = 'There is none.';
  expect(screen.queryByText(none)).toBeNull();
  (await asked('/passes')).give({ passes: [] });
  await screen.findByText(none);
});

// A code that is typed while what was done before is read again.
it('what is typed on Records outlasts an answer that does not come', async () => {
  render(Records);
  (await asked('/places')).give({ places: [place('bed-1')] });
  (await asked('/record')).give({ kept: [], until: null, bytes: 1, free_bytes: 1, config: 1, disk_is_full: false });
  (await asked('/sessions')).give({ sessions: [{ id: 's1', code: 'K-1', place: 'bed-1', begun_at: AT, ended_at: null, notes: [], config: '1', readings: '' }] });
  await screen.findByRole('button', { name: /^End .*K-1/ });
  await press(/^End .*K-1/);
  (await asked('/end')).give({});
  (await asked('/sessions?', 1)).lose();
  await fireEvent.input(await screen.findByLabelText('Code'), { target: { value: 'K-2' } });
  await screen.findByText('The record does not answer.');
  expect(screen.getByLabelText<HTMLInputElement>('Code').value).toBe('K-2');
});

it('a check that was made while the former ones were read is among them', async () => {
  render(SpotChecks, { of: { id: 'c1', bridge: 'hub', source: 'leg', channel: 0 } as Kept });
  await fireEvent.click(screen.getByText('Spot checks'));
  const before = await asked('/checks');
  await fireEvent.input(screen.getByLabelText('The gauge shows'), { target: { value: '40' } });
  await press('Check');
  const check = (at: string, text: string) => ({ at, by: 'E-2', reference_mmhg: 40, error_mmhg: 0, allowed_mmhg: 4, holds: true, text });
  (await asked('/checks', 1)).give(check('2031-01-02T10:00:00Z', 'the new one'));
  await screen.findByText('the new one');
  before.give({ checks: [check(AT, 'the old one')] });
  await screen.findByText('the old one');
  expect(screen.queryByText('the new one')).toBeTruthy();
});

it('what somebody has drawn is not replaced by what is found', async () => {
  const mat = { rows: 4, columns: 4, regions: [] };
  render(RegionEditor, { place: place('bed-1', { mat: mat as never }), regions: [], selected: -1, close: () => {} });
  await press('Find from the body');
  const found = await asked('/regions');
  await press('Add a region');
  found.give({ at: AT, found: [{ id: 'heels', rows: [3, 3], columns: [0, 3], cells: 4, why: '' }], missing: [], yaml: '', faults: [], caution: '' });
  await vi.waitFor(() => expect(screen.queryByText(/Looking at the map/i)).toBeNull());
  expect(screen.queryByDisplayValue('heels')).toBeNull();
});

const file = { path: 'weald.yaml', version: 1, text: 'one', in_force: 'one', seal: 's1', faults: [], locked: '' };
const area = () => screen.findByRole<HTMLTextAreaElement>('textbox', { name: 'Text of the configuration file' });

// The piece is gone from where it was laid down: it would be lost.
it('a piece is put into what is typed meanwhile', async () => {
  layDown({ yaml: 'piece' });
  render(Configuration);
  (await asked('/configuration')).give(file);
  const first = await asked('/put');
  await fireEvent.input(await area(), { target: { value: 'one and two' } });
  first.give({ text: 'one\npiece' });
  const second = await asked('/put', 1);
  expect(second.body.text).toBe('one and two');
  second.give({ text: 'one and two\npiece' });
  await vi.waitFor(async () => expect((await area()).value).toBe('one and two\npiece'));
});

// What stands is another text than the one that was found to be well.
it('a text is not applied before it has been checked', async () => {
  render(Configuration);
  (await asked('/configuration')).give(file);
  (await asked('/check')).give({ faults: [], changes: [], restart: [] });
  await screen.findByText('Nothing is wrong with this text.');
  await fireEvent.input(await area(), { target: { value: 'other' } });
  await press('Write the file and apply it');
  expect(all.filter((q) => q.path.endsWith('/apply'))).toEqual([]);
});
