import { expect, test } from 'vitest';
import { fileHref, sentence } from './records';

test('what the daemon says against something is a sentence without the name of a field', () => {
  expect(sentence('code: this looks like a name, and names are not kept')).toBe('This looks like a name, and names are not kept.');
  expect(sentence('session s-1 of K-07 has not ended: end it first')).toBe('Session s-1 of K-07 has not ended: end it first.');
  expect(sentence('Nothing was noted.')).toBe('Nothing was noted.');
});

test('names of files cannot lead elsewhere', () => {
  expect(fileHref('x-1', '../a b.csv')).toBe('/api/v1/exports/x-1/files/..%2Fa%20b.csv');
});
