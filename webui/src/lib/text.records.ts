// The words of the Records page, and of notes and longer history on the pages of places.

import { catalogue } from './language';

export const records = {
  title: 'Records',
  none: 'Nothing is kept: the configuration names no folder for the record. Give it “data:” and a folder.',
  failed: 'The record does not answer.',
  again: 'Ask again',
  place: 'Place',
  code: 'Code',
  codeHint: 'Stands for the person, such as K-07. Never a name: the list of who is who is kept somewhere else.',
  notes: 'Notes',
  rules: (n: number) => `rules ${n}`,
  rulesHint: 'the version of the configuration that was in force',
  noAnswer: 'The daemon does not answer, and nothing was noted. Try again.',
  notDone: (status: number) => `Nothing was noted: the daemon answered ${status}.`,
  by: (code: string) => `by ${code}`,
  signed: (code: string) => `What you note here is signed ${code}.`,
  other: 'Somebody else',
} as const;

export const sessions = {
  title: 'Sessions',
  begin: 'Begin a session',
  end: 'End the session',
  ended: 'Ended',
  begun: (code: string, at: string) => `Session of ${code} began at ${at}.`,
  none: 'No session has been begun yet.',
  noneHere: 'No session.',
  lasts: 'lasts',
  addNote: 'Add a note',
  save: 'Save',
  cancel: 'Cancel',
  saved: 'Noted.',
  readings: { partly: 'Readings of its beginning are no longer kept.', gone: 'Its readings are no longer kept.' } as Record<string, string>,
} as const;

export const reports = {
  session: 'Report',
  sessionOf: (code: string) => `Report of the session of ${code}`,
  night: 'Report of the last night',
  nights: 'Nights',
  evening: 'Began on the evening of',
  nightHint: 'From 20:00 to 8:00, or until now.',
  nightOf: (bed: string) => `Report of this night in ${bed}`,
  noNight: 'Choose an evening that has been.',
  person: 'By day',
  personOf: (code: string) => `${code} by day, all sessions in a seat`,
  trial: 'Everybody in a seat, by participant and day',
} as const;

export const marks = {
  title: 'Marks',
  here: 'Session and marks',
  set: 'Mark',
  /** Of what is kept in English, as the daemon goes by some of it. */
  said: {
    turned: 'turned', 'stood up': 'stood up', 'skin checked': 'skin checked', shifted: 'shifted', lying: 'lying', standing: 'standing',
    'wrap applied': 'wrap applied', 'wrap taken off': 'wrap taken off', walked: 'walked',
  } as Record<string, string>,
  judged: { wrap: '“lying” and “standing” say how the limb rests now, or will once it no longer moves. Stiffness goes by them, whatever was recognised.' } as Record<string, string>,
  other: 'Something else',
  otherHint: 'What happened, in a few words. No names.',
  latest: 'Latest marks',
  none: 'No mark has been set here yet.',
  done: (what: string, at: string) => `Marked: ${what}, at ${at}.`,
  columns: { at: 'When', what: 'What', author: 'Who' },
  unsigned: 'not signed',
  newest: (n: number) => `The newest ${n} are shown.`,
} as const;

export const exporting = {
  title: 'Export',
  about: 'Signals, alerts and marks of a place as files. A code is in them, a name never.',
  format: 'Format',
  formats: { csv: 'CSV, tables for spreadsheets', edf: 'EDF+, for signal viewers', parquet: 'Parquet, for analysis', fhir: 'FHIR R4, readings alone' } as Record<string, string>,
  span: 'How much',
  spans: { 3600: 'the last hour', 28800: 'the last 8 hours', 86400: 'the last 24 hours', 604800: 'the last 7 days', 2678400: 'the last 31 days', 0: 'everything', own: 'from … to …' } as Record<string, string>,
  from: 'From',
  to: 'To',
  wrongSpan: 'Give both times, the later one last.',
  make: 'Make the files',
  stop: 'Stop',
  states: { waiting: 'waits for its turn', making: 'is being made', made: 'ready', stopped: 'stopped, nothing of it stays', failed: 'could not be made' } as Record<string, string>,
  line: (place: string, format: string, span: string) => `${place}, ${format}, ${span}`,
  progress: (place: string) => `Export of ${place}`,
  beginning: 'the beginning',
  theEnd: 'the end',
  between: (a: string, b: string) => `${a} to ${b}`,
  file: (name: string, size: string) => `${name} (${size})`,
  goes: 'Files are kept until the daemon ends or eight newer ones have been made.',
} as const;

export const kept = {
  title: 'What is kept',
  kinds: { readings: 'Readings', alerts: 'Alerts', actions: 'What people did with alerts', marks: 'Marks', sessions: 'Sessions', attempts: 'Attempts on the bench' } as Record<string, string>,
  since: (t: string) => `since ${t}`,
  none: 'none yet',
  size: 'They take',
  free: 'Left on the disk',
  full: 'The disk is full: readings are not kept. Alerts and actions still are.',
} as const;

export const past = {
  title: 'Longer ago',
  show: 'Show',
  spans: { 3600: '1 h', 28800: '8 h', 86400: '24 h', 604800: '7 d', 2678400: '31 d' } as Record<string, string>,
  earlier: 'Earlier',
  later: 'Later',
  newest: 'Newest',
  closer: 'Closer',
  wider: 'Wider',
  hint: 'Shade from lowest to highest, line the mean. Open where nothing is known. Drag to move through time, pinch to come closer, touch to read an instant; by keyboard Page up and Page down, plus and minus, and the left and right arrows.',
  loading: 'Reading …',
  failed: 'The history could not be read.',
  picture: (what: string, from: string, to: string) => `${what}, ${from} to ${to}`,
  scale: (top: string) => `Each lane is 0 to ${top}.`,
  from: (a: string, b: string) => `${a} to ${b}`,
  figures: (lo: string, mean: string, hi: string) => `${lo} to ${hi}, mean ${mean}`,
} as const;

catalogue('text.records', { records, sessions, reports, marks, exporting, kept, past });
