import { render, screen } from '@testing-library/svelte';
import { expect, it } from 'vitest';
import { hold, place } from '../lib/testplace';
import RegionTable from './RegionTable.svelte';

it('says of which cells it shows the mean, and of nothing that is unknown a number', () => {
  const u = (u: number | null) => ({ value: 1, u, unit: 'mmHg', at: null });
  const bed = place('bed-1', { signals: { 'heels.peak': u(2), 'heels.mean': u(0.2) } });
  render(RegionTable, { place: bed, figures: [{ id: 'heels', peak: 61.6, mean: 40.46, longest: 120 }, { id: 'head', peak: NaN, mean: NaN, longest: NaN }], timed: true });
  expect(screen.getByRole('columnheader', { name: 'Mean of cells in contact, mmHg' })).toBeTruthy();
  const [, heels, head] = screen.getAllByRole('row').map((row) => [...row.querySelectorAll('td')].map((td) => td.textContent));
  expect(heels).toEqual(['62', '40.5', '2\u00a0min', 'no rule']);
  expect(head!.slice(0, 3)).toEqual(['—', '—', '—']);
});

// The ribbon stands on the same page, and says it where it is never folded away.
it('leaves the caution about a model to the ribbon', () => {
  render(RegionTable, { place: place('bed-1', { holds: [hold({ subject: 'heels', note: 'a research model' })] }), figures: [{ id: 'heels', peak: 61, mean: 40, longest: 60 }], timed: true });
  expect(screen.queryByText(/research model/)).toBeNull();
});

it('does not say that a duration is unknown which has only not come yet', () => {
  render(RegionTable, { place: place('bed-1'), figures: [{ id: 'heels', peak: 61, mean: 40, longest: NaN }], timed: false });
  expect(screen.getAllByRole('cell').map((td) => td.textContent)).toContain('…');
});
