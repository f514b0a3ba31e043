// The words of the configuration and its editor.

import { catalogue } from './language';
import { plurals } from './plural';

const form = plurals('en');

export const configuration = {
  title: 'Configuration',
  open: 'See and change the configuration',
  wait: 'Reading the file …',
  inForce: (path: string, version: number) => (version > 0 ? `In force is version ${version}, from ${path}.` : `In force is what was read from ${path}.`),
  same: 'The file says just that.',
  differs: 'The file says something else than what is in force.',
  faulty: (n: number) => `The file has ${form(n, { one: '1 fault', other: `${n} faults` })} and is not applied; what is in force goes on.`,
  locked: (why: string) => `The file cannot be changed from here: ${why}. Change it where it is kept, and press “Apply the file” then.`,
  label: 'Text of the configuration file',
  hint: 'The file is the truth: what is applied is written to it. Passwords and keys belong in files of their own, never in this text.',
  checking: 'Checking …',
  well: 'Nothing is wrong with this text.',
  faults: (n: number) => form(n, { one: '1 thing is wrong with this text:', other: `${n} things are wrong with this text:` }),
  at: (line: number, column: number) => `Line ${line}, column ${column}`,
  restart: 'It cannot be applied while weald runs:',
  changes: 'What changes',
  none: 'It says the same as what is in force.',
  lines: 'Line by line, against what is in force',
  gone: 'gone',
  fresh: 'new',
  unchanged: 'unchanged lines',
  apply: 'Write the file and apply it',
  applyFile: 'Apply the file',
  discard: 'Take back my changes',
  applying: 'Applying …',
  applied: (version: number) => (version > 0 ? `Version ${version} is in force.` : 'It is in force.'),
  what: 'What the alerts do: a rule that is unchanged goes on with all that it has counted; a changed rule begins anew; the alert of a rule or place that is gone ends, and says why.',
  changedMeanwhile: 'The file has been changed since it was read here. Nothing was written. This is what it says now, against your text:',
  takeTheirs: 'Go on with what the file says now',
  keepMine: 'Keep my text; applying it replaces what the file says now',
  put: 'The piece is in the text. Look at it, and apply it.',
  notPut: (why: string) => `The piece could not be put into the text: ${why}. This is it, to be put in by hand:`,
  piece: 'piece',
  into: 'Put it into the configuration',
  former: 'Former versions',
  formerAt: (version: number, at: string, by: string) => `Version ${version}, ${at}${by ? `, applied by ${by}` : ''}`,
  now: 'in force',
  takeBack: 'Take it back',
  takenBack: (version: number) => `The text is that of version ${version}. Look at what it changes, and apply it.`,
  more: 'Older versions are in the record.',
  noAnswer: 'The daemon does not answer.',
  notDone: (status: number) => `The daemon refused it (${status}).`,
} as const;

catalogue('text.configuration', { configuration });
