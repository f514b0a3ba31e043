import { render, screen } from '@testing-library/svelte';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import Noting from './Noting.svelte';

beforeEach(() => {
  who.forget();
  vi.stubGlobal('fetch', async (path: string) => Response.json(path.includes('/marks') ? { marks: [] } : { sessions: [] }));
});

afterEach(() => vi.unstubAllGlobals());

// A mark stands in the record behind its author's code: where it is set, the code can be given.
it('asks for a code beside the marks, until it is known', async () => {
  render(Noting, { place: 'bed-1', kind: 'bed' });
  await screen.findByRole('button', { name: 'turned' });
  expect(screen.getByLabelText('Your code')).toBeTruthy();
  who.take('N-4');
  await vi.waitFor(() => expect(screen.queryByLabelText('Your code')).toBeNull());
});

// On the way from one bed to the next the page knows already that marks are kept: not yet that nobody is in a session here.
it('says nothing of a session before it has been read', async () => {
  render(Noting, { place: 'bed-2', kind: 'bed', keeps: true });
  expect(screen.queryByRole('heading')).toBeNull();
  await screen.findByRole('heading');
});
