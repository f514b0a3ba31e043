import { expect, it } from 'vitest';
import { cautions } from './cautions';
import { hold, place } from './testplace';

it('says once what has to be said beside the numbers', () => {
  const model = 'Of rat muscle: a research model';
  const beds = ['bed-1', 'bed-2'].map((id) => place(id, { holds: [hold(), hold({ note: model }), hold({ note: '' })] }));
  expect(cautions(...beds)).toEqual([model]);
  expect(cautions(place('bed-3', { holds: [hold()] }))).toEqual([]);
});
