import { expect, test } from 'vitest';
import { doer, done, whole, withWhat, type Act } from './audit';
import { audit as german } from './de/text.audit';
import { audit as english } from './text.audit';

const act = (a: Partial<Act>): Act => ({ number: 1, at: '2026-03-01T12:00:00Z', who: 'N-4', what: 'viewed', place: '', subject: '', person: '', text: '', says: '', ...a });

test('an act is told in words, one that is not known as the record has it', () => {
  expect(done(act({}))).toBe('looked at');
  expect(done(act({ what: 'backed-up' }))).toBe('had the record copied');
  expect(done(act({ what: 'of-a-later-version' }))).toBe('of a later version');
  expect(done(act({ what: 'constructor' }))).toBe('constructor');
  expect(withWhat(act({ subject: 'report-session session s-1', person: 'K-07' }))).toBe('report-session session s-1, of K-07');
  expect(withWhat(act({ person: '(erased)', text: '(erased)' }))).toBe('(erased), of (erased)');
  expect(withWhat(act({ subject: 'sessions', person: 'K-07' }))).toBe('the sessions, of K-07');
  expect(withWhat(act({ subject: 'session s-1' }))).toBe('a session s-1');
  expect(withWhat(act({ place: 'bed-4' }))).toBe('bed-4');
  expect(withWhat(act({ place: 'bed-4', what: 'mark' }))).toBe('at bed-4');
  expect(whole('N-4')).toBe('N-4');
});

// The command says "somebody" of the same acts.
test('what somebody did who gave no code is not said to be the doing of the program', () => {
  expect(doer(act({ who: '', what: 'session-begun' }))).toBe('somebody');
  expect(doer(act({ who: '', what: 'configured' }))).toBe('weald');
  expect(doer(act({}))).toBe('N-4');
});

test('both languages have a word for the same acts', () => {
  expect(Object.keys(german.things).sort()).toEqual(Object.keys(english.things).sort());
  expect(Object.keys(german.done).sort()).toEqual(Object.keys(english.done).sort());
});
