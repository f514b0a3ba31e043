// The words about who may do what.

import { catalogue } from './language';

export const access = {
  title: 'Log in',
  name: 'Name',
  password: 'Password',
  logIn: 'Log in',
  logOut: 'Log out',
  asYou: 'It is told by your account who does what here: log out when you leave.',
  command: 'the command',
  first: 'There is no account yet. The first one is made on the machine itself, where weald runs:',
  wrong: 'The name or the password is not right.',
  oldWrong: 'This is not the password until now.',
  tooMany: (s: number) => `Too many wrong passwords. Try again in ${s} s, or where you have logged in before.`,
  directory: 'Log in at the directory of your organisation',
  away: 'The directory of your organisation does not answer. Log in with your password here.',
  refused: 'The directory of your organisation has not shown who you are. Try again, or log in with your password here.',
  unknown: 'The directory of your organisation knows you, and no account here is yours: ask an admin.',
  back: 'Back to what is shown',
  roles: { nobody: 'nobody', wall: 'wall screen', viewer: 'viewer', carer: 'carer', engineer: 'engineer', admin: 'admin' },
  roleMeans: {
    viewer: 'looks, and prints reports',
    carer: 'also acknowledges, shelves, marks, and leads sessions and tries',
    engineer: 'also calibrates, rehearses, exports, gives links to seats',
    admin: 'also accounts, tokens and wall screens',
  },
  screen: (name: string) => `Wall screen ${name}`,
  notYours: (role: string) => `Not as ${role}: ask somebody whose role has it.`,
  notShown: (role: string) => `This page is not shown to the role ${role}.`,
  change: 'Change the password',
  old: 'The password until now',
  next: 'The new one',
  nextHint: '12 characters at least. Some words that do not belong together are easy to keep in mind.',
  changeDo: 'Change it',
  screenTitle: 'A wall screen',
  screenWrong: 'This link opens nothing here. Ask an admin for another one.',
  noAnswer: 'The daemon does not answer. Try again in a moment.',
  notDone: (status: number) => `It was not done (${status}).`,
} as const;

catalogue('text.access', { access });
