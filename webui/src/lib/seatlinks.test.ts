import { expect, it } from 'vitest';
import { darkPath } from './seatlinks';

it('draws dark modules in runs', () => {
  expect(darkPath(['1101', '0000', '0110'])).toBe('M0 0h2v1h-2zM3 0h1v1h-1zM1 2h2v1h-2z');
});
