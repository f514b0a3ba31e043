import { expect, it } from 'vitest';
import { offsetOf } from './configuration';

it('finds a line and column, whatever the letters', () => {
  const body = 'data: x\n# 😀 ward\nrules:\n';
  expect(body.slice(offsetOf(body, 1, 7))).toBe('x\n# 😀 ward\nrules:\n');
  expect(body.slice(offsetOf(body, 2, 5))).toBe('ward\nrules:\n');
  expect(body.slice(offsetOf(body, 3, 1))).toBe('rules:\n');
  expect(offsetOf(body, 3, 99)).toBe(body.indexOf('rules:') + 6);
  expect(offsetOf(body, 99, 1)).toBe(body.length);
  expect(offsetOf(body, 0, 0)).toBe(0);
});
