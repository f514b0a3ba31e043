import { fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import { live } from '../lib/live.svelte';
import Configuration from './Configuration.svelte';

const file = { path: 'weald.yaml', version: 1, text: 'one', in_force: 'one', seal: 's1', faults: [], locked: '' };
let now = file;
let reads = 0;
let sent: { text: string; seal: string }[] = [];

beforeEach(() => {
  [now, reads, sent, live.settings] = [file, 0, [], 'c1'];
  who.take('E-02');
  vi.stubGlobal('fetch', async (path: string, init?: RequestInit) => {
    if (path.endsWith('/check')) return Response.json({ faults: [], changes: [], restart: [] });
    if (path.endsWith('/versions')) return Response.json({ versions: [], more: false });
    if (!path.endsWith('/apply')) return (reads++, Response.json(now));
    sent.push(JSON.parse(init!.body as string));
    apply(sent.at(-1)!.text);
    return Response.json({ version: now.version, changes: [] });
  });
});

afterEach(() => {
  who.forget();
  vi.unstubAllGlobals();
});

/** Puts a text into force. */
const apply = (text: string) => (now = { ...now, version: now.version + 1, text, in_force: text, seal: `s${now.version + 1}` });
/** Somebody else does, and the live connection says so. */
function others(text: string): void {
  apply(text);
  live.settings = `c${now.version}`;
}
/** Presses a button until what it does is seen: it may have to wait for a check. */
const press = (name: string, seen: () => void) =>
  vi.waitFor(async () => {
    await fireEvent.click(screen.getByRole('button', { name }));
    seen();
  });
const area = () => screen.findByRole<HTMLTextAreaElement>('textbox', { name: 'Text of the configuration file' });

// A text that stayed would seem to be a wish to take back what the other did.
it('a text that nobody has touched follows what somebody else puts into force', async () => {
  render(Configuration);
  expect((await area()).value).toBe('one');
  others('two');
  await vi.waitFor(async () => expect((await area()).value).toBe('two'));
  expect(screen.queryByRole('button', { name: 'Write the file and apply it' })).toBeNull();
});

// The seal is that of what it began with, so that it overwrites nothing unseen.
it('a text that somebody has touched stays, and is sent as a change of what it began with', async () => {
  render(Configuration);
  await fireEvent.input(await area(), { target: { value: 'mine' } });
  others('two');
  await screen.findByText(/version 2/i);
  live.settings = 'as much as before'; // it is read once more
  await vi.waitFor(() => expect(reads).toBe(3));
  expect((await area()).value).toBe('mine');
  await press('Write the file and apply it', () => expect(sent).toMatchObject([{ text: 'mine', seal: 's1' }]));
  await screen.findByText('Version 3 is in force.');
  others('four');
  await vi.waitFor(async () => expect((await area()).value).toBe('four'));
  expect(screen.queryByText('Version 3 is in force.')).toBeNull();
});

// Else its first change would be refused as one of a file that nobody here has seen.
it('who lets the own text go begins with what the file says now', async () => {
  render(Configuration);
  await fireEvent.input(await area(), { target: { value: 'mine' } });
  others('two');
  await screen.findByText(/version 2/i);
  await fireEvent.click(screen.getByRole('button', { name: 'Take back my changes' }));
  await fireEvent.input(await area(), { target: { value: 'three' } });
  await press('Write the file and apply it', () => expect(sent).toMatchObject([{ text: 'three', seal: 's2' }]));
});
