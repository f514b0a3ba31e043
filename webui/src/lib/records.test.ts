import { expect, test } from 'vitest';
import { fromForm, setZone, toForm } from './format';
import { fileHref, lastEvening, nightOf, reportHref, sentence } from './records';

test('what the daemon says against something is a sentence without the name of a field', () => {
  expect(sentence('code: this looks like a name, and names are not kept')).toBe('This looks like a name, and names are not kept.');
  expect(sentence('session s-1 of K-07 has not ended: end it first')).toBe('Session s-1 of K-07 has not ended: end it first.');
  expect(sentence('Nothing was noted.')).toBe('Nothing was noted.');
});

test('names of files cannot lead elsewhere', () => {
  expect(fileHref('x-1', '../a b.csv')).toBe('/api/v1/exports/x-1/files/..%2Fa%20b.csv');
});

// As the daemon has it of its own accord: TestTheLastNight in stream/report, from which these are.
test('a night is from 20:00 to 8:00 of the zone, also when clocks are put forward in it', () => {
  setZone('Europe/Vienna');
  const of = (now: string) => lastEvening(Date.parse(now));
  expect(['2026-03-02T09:00:00+01:00', '2026-03-02T19:59:59+01:00', '2026-03-02T20:00:00+01:00', '2026-03-29T09:00:00+02:00'].map(of)).toEqual(['2026-03-01', '2026-03-01', '2026-03-02', '2026-03-28']);
  const later = Date.parse('2026-04-10T12:00:00+02:00');
  expect(nightOf('2026-03-01', later)).toEqual([Date.parse('2026-03-01T20:00:00+01:00'), Date.parse('2026-03-02T08:00:00+01:00')]);
  expect(nightOf('2026-03-28', later)).toEqual([Date.parse('2026-03-28T20:00:00+01:00'), Date.parse('2026-03-29T08:00:00+02:00')]); // EU Directive 2000/84/EC
  const within = Date.parse('2026-03-01T23:00:00+01:00');
  expect(nightOf('2026-03-01', within)![1]).toBe(within);
  expect([nightOf('2026-03-02', within), nightOf('', later), nightOf('soon', later)]).toEqual([null, null, null]);
  expect(fromForm(toForm(within))).toBe(within);
  expect(reportHref.night('bed 4', nightOf('2026-03-01', within)!)).toBe('/api/v1/reports/night/bed%204?from=2026-03-01T19:00:00.000Z&to=2026-03-01T22:00:00.000Z');
  expect(reportHref.night('bed-4')).toBe('/api/v1/reports/night/bed-4');
  setZone(undefined);
});
