import { fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, expect, it, vi } from 'vitest';
import { who } from '../lib/deeds.svelte';
import { bridges } from '../lib/bridges.svelte';
import { newBridge, newSource } from '../lib/testsource';
import { units } from '../lib/units.svelte';
import CalibrateBegin from './CalibrateBegin.svelte';

afterEach(() => {
  units.pressure = 'mmHg';
  who.forget();
  vi.unstubAllGlobals();
});

// The daemon's own words of a number that is too large name no field, and are of mmHg.
it('says which field is out of its bounds in the unit that it was typed in, and takes 40 kPa for 300 mmHg', async () => {
  const sent: Record<string, unknown>[] = [];
  vi.stubGlobal('fetch', async (_: string, init?: RequestInit) => {
    if (init?.body) sent.push(JSON.parse(init.body as string));
    return Response.json({});
  });
  who.take('E-01');
  units.pressure = 'kPa';
  bridges.list = [newBridge('hub', [newSource('hub/leg')])];
  render(CalibrateBegin, { changed: () => {} });
  const type = (label: string, value: string) => fireEvent.input(screen.getByLabelText(label), { target: { value } });
  const begin = () => fireEvent.submit(screen.getByLabelText('Gauge').closest('form')!);
  await type('Gauge', 'bench gauge');
  await type('Up to (kPa)', '45');
  await begin();
  expect(screen.getByRole('alert').textContent).toBe('Up to (kPa): from 4 to 40.');
  await type('Up to (kPa)', '40');
  await type('Held for (s)', '4');
  await begin();
  expect(screen.getByRole('alert').textContent).toBe('Held for (s): from 5 to 600.');
  await type('Held for (s)', '5');
  await begin();
  expect(screen.queryByRole('alert')).toBeNull();
  expect(sent).toMatchObject([{ highest_mmhg: 300, dwell_s: 5 }]);
});
