import { fireEvent, render, screen } from '@testing-library/svelte';
import { afterEach, expect, it, vi } from 'vitest';
import type { Kept } from '../lib/calibrate';
import { who } from '../lib/deeds.svelte';
import SpotChecks from './SpotChecks.svelte';

afterEach(() => {
  who.forget();
  vi.unstubAllGlobals();
});

// Else somebody presses Check, and nothing happens.
it('says what to write where it was given no pressure, and takes one in the unit of the gauge', async () => {
  const sent: unknown[] = [];
  vi.stubGlobal('fetch', async (_: string, init?: RequestInit) => {
    if (!init?.body) return Response.json({ checks: [] });
    sent.push(JSON.parse(init.body as string));
    return Response.json({ at: '2031-01-01T10:00:00Z', by: 'E-01', error_mmhg: 0, allowed_mmhg: 4, holds: true, text: 'holds' });
  });
  who.take('E-01');
  render(SpotChecks, { of: { id: 'c1', bridge: 'hub', source: 'leg', channel: 0 } as Kept });
  const check = async (shown: string) => {
    await fireEvent.input(screen.getByLabelText('The gauge shows'), { target: { value: shown } });
    await fireEvent.click(screen.getByRole('button', { name: 'Check', hidden: true }));
  };
  await check('forty');
  expect((await screen.findByRole('alert', { hidden: true })).textContent).toBe('Write what the gauge shows, such as 40 mmHg or 5.3 kPa.');
  await check('5.3 kPa');
  await screen.findByText('holds');
  expect(screen.queryByRole('alert', { hidden: true })).toBeNull();
  // 5.3 kPa by 133.322 Pa (NIST SP 811); of limits of 3 mmHg either way a third of the root of three (JCGM 100, 4.3.7).
  expect(sent).toEqual([{ by: 'E-01', reference_mmhg: expect.closeTo(39.753, 3), reference_u_mmhg: expect.closeTo(1.732, 3) }]);
});
