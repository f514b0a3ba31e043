import { fireEvent, render, screen, waitFor } from '@testing-library/svelte';
import { tick } from 'svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import type { Sender } from '../lib/senders';
import { alert } from '../lib/testplace';
import AlertItem from './AlertItem.svelte';

const sent: { path: string; body: unknown }[] = [];
let answer: () => Response;
let told: Pick<Sender, 'id' | 'calls'>[];

beforeEach(() => {
  sent.length = 0;
  answer = () => Response.json(alert({ state: 'acknowledged', by: 'K-07' }));
  who.forget();
  told = [];
  vi.stubGlobal('fetch', async (path: string, init: RequestInit) => {
    if (path === '/api/v1/senders') return Response.json({ senders: told });
    sent.push({ path, body: JSON.parse(String(init.body)) });
    return answer();
  });
});

afterEach(() => vi.unstubAllGlobals());

const button = (name: RegExp) => screen.getByRole('button', { name });

it('asks who it is once, and then acknowledges', async () => {
  render(AlertItem, { alert: alert() });
  await fireEvent.click(button(/^Acknowledge/));
  expect(sent).toEqual([]);
  await fireEvent.input(screen.getByLabelText('Your code'), { target: { value: 'Pat Larch' } });
  await fireEvent.click(button(/That is me/));
  expect(screen.getByRole('alert').textContent).toMatch(/such as N-4/);
  await fireEvent.input(screen.getByLabelText('Your code'), { target: { value: ' k-07 ' } });
  await fireEvent.click(button(/That is me/));
  await waitFor(() => expect(sent).toEqual([{ path: '/api/v1/alerts/bed-1~long-load~pelvis/acknowledge', body: { code: 'K-07' } }]));
});

// Signing for an alert takes a press at that alert: a code given for something else is none.
it('acknowledges nothing by a code that is given elsewhere, and leaves one way to go on', async () => {
  render(AlertItem, { alert: alert() });
  await fireEvent.click(button(/^Acknowledge/));
  who.take('N-4');
  await waitFor(() => expect(document.activeElement).toBe(button(/^Acknowledge/)));
  expect(screen.queryByLabelText('Your code')).toBeNull();
  expect(sent).toEqual([]);
});

it('does not shelve without a reason, and for as long as one says', async () => {
  who.take('K-07');
  render(AlertItem, { alert: alert({ state: 'acknowledged', by: 'K-07', acknowledged_by: 'K-07' }) });
  await fireEvent.click(button(/^Shelve …/));
  await fireEvent.click(button(/^Shelve it/));
  expect(screen.getByRole('alert').textContent).toMatch(/Say why/);
  await fireEvent.input(screen.getByLabelText('Why'), { target: { value: 'bath' } });
  await fireEvent.change(screen.getByLabelText('For how long'), { target: { value: '120' } });
  await fireEvent.click(button(/^Shelve it/));
  await waitFor(() => expect(sent[0]?.body).toEqual({ code: 'K-07', reason: 'bath', for_s: 7200 }));
});

it('keeps what somebody writes when the alert goes to another list, and no longer', async () => {
  who.take('K-07');
  const here = render(AlertItem, { alert: alert() });
  await fireEvent.click(button(/^Shelve …/));
  await fireEvent.input(screen.getByLabelText('Why'), { target: { value: 'care at' } });
  here.unmount();
  const there = render(AlertItem, { alert: alert({ state: 'returned-unacknowledged', cleared_at: '2031-01-01T10:05:00Z' }) });
  const why = screen.getByLabelText<HTMLInputElement>('Why');
  expect(why.value).toBe('care at');
  expect(document.activeElement).toBe(why);
  there.unmount();
  await tick();
  render(AlertItem, { alert: alert({ state: 'returned-unacknowledged', cleared_at: '2031-01-01T10:05:00Z' }) });
  expect(screen.queryByLabelText('Why')).toBeNull();
});

it('says what the daemon says where it was not done', async () => {
  who.take('K-08');
  answer = () => Response.json({ status: 409, detail: 'it is acknowledged already, by K-07' }, { status: 409 });
  render(AlertItem, { alert: alert() });
  await fireEvent.click(button(/^Acknowledge/));
  expect((await screen.findByRole('alert')).textContent).toBe('it is acknowledged already, by K-07');
});

it.each([
  ['acknowledged', { by: 'K-07', acknowledged_at: '2031-01-01T10:02:00Z', reason: 'on my way' }, /K-07 has it since .*“on my way”/],
  ['shelved', { by: 'K-07', until: '2031-01-01T11:00:00Z', reason: 'bath' }, /shelved, by K-07, until .*“bath”/],
  ['out-of-service', { by: 'K-07', reason: 'cable' }, /out of service, by K-07, since .*“cable”/],
  ['latched', { cleared_at: '2031-01-01T10:05:00Z', tier: 2 }, /over, and latched, tier 2 is due to be called/],
  ['suppressed', {}, /nobody to be judged/],
  ['unacknowledged', { chattering: true }, /not acknowledged, chattering: it comes and goes/],
] as const)('says in words that it is %s', (state, part, words) => {
  const { container } = render(AlertItem, { alert: alert({ state, ...part }) });
  expect(container.querySelector('.state')!.textContent!.replaceAll('\u00a0', ' ').replaceAll('\u2060', '')).toMatch(words);
});

it('says by which sender its tier was called, and whether that was delivered', async () => {
  const id = 'bed-1~long-load~pelvis';
  const call = { alert: id, tier: 2, queued_at: '2031-01-01T10:10:00Z', at: '2031-01-01T10:10:02Z' };
  told = [
    { id: 'desk', calls: [{ ...call, tier: 1, state: 'sent' }] },
    { id: 'second', calls: [{ ...call, state: 'sent' }, { ...call, alert: 'bed-2~long-load~pelvis', state: 'given-up' }] },
    { id: 'chat', calls: [{ ...call, state: 'trying' }] },
  ];
  const { container } = render(AlertItem, { alert: alert({ tier: 2 }) });
  const said = () => container.querySelector('.state')!.textContent!.replaceAll('\u00a0', ' ').replaceAll('\u2060', '');
  expect(said()).toMatch(/not acknowledged, tier 2 is due to be called/);
  await waitFor(() => expect(said()).toMatch(/tier 2 is called: delivered by second at \S+; not delivered yet by chat, which has tried since \S+/));
  expect(said()).not.toMatch(/desk|given up|due/);
});
