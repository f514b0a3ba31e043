import { render, screen } from '@testing-library/svelte';
import { afterEach, expect, it, vi } from 'vitest';
import { units } from '../lib/units.svelte';
import Defaults from './Defaults.svelte';

afterEach(() => {
  units.pressure = 'mmHg';
  vi.unstubAllGlobals();
});

// Whoever reads 2.7 kPa here writes "floor: 2.7" into a file that is in mmHg.
it('tells what the configuration is set to in the unit of the configuration', async () => {
  vi.stubGlobal('fetch', async () => Response.json({ defaults: [{ place: '', kind: 'exposure', key: 'floor', value: '20 mmHg', source: 'less than the 28 mmHg that heels bear' }] }));
  units.pressure = 'kPa';
  render(Defaults);
  expect((await screen.findByRole('cell')).textContent).toBe('20\u00a0mmHgless than the 28\u00a0mmHg that heels bear');
});
