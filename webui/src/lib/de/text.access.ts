// Die deutschen Wörter darüber, wer was darf.

import type { Said } from '../language';
import type * as en from '../text.access';

export const access: Said<typeof en.access> = {
  title: 'Anmelden',
  name: 'Name',
  password: 'Passwort',
  logIn: 'Anmelden',
  logOut: 'Abmelden',
  asYou: 'An Ihrem Konto ist zu sehen, wer hier was tut: Melden Sie sich ab, wenn Sie gehen.',
  command: 'der Befehl',
  first: 'Es gibt noch kein Konto. Das erste wird auf dem Rechner selbst gemacht, auf dem weald läuft:',
  wrong: 'Name oder Passwort stimmen nicht.',
  oldWrong: 'Das ist nicht das bisherige Passwort.',
  tooMany: (s) => `Zu viele falsche Passwörter. Versuchen Sie es in ${s} s wieder, oder dort, wo Sie sich schon angemeldet haben.`,
  directory: 'Am Verzeichnis des Hauses anmelden',
  away: 'Das Verzeichnis des Hauses antwortet nicht. Melden Sie sich hier mit Ihrem Passwort an.',
  refused: 'Das Verzeichnis des Hauses hat nicht gezeigt, wer Sie sind. Versuchen Sie es noch einmal, oder melden Sie sich hier mit Ihrem Passwort an.',
  unknown: 'Das Verzeichnis des Hauses kennt Sie, und kein Konto hier ist Ihres: Fragen Sie die Verwaltung.',
  back: 'Zurück zu dem, was gezeigt wird',
  roles: { nobody: 'niemand', wall: 'Wandbildschirm', viewer: 'Betrachter', carer: 'Pflege', engineer: 'Technik', admin: 'Verwaltung' },
  roleMeans: {
    viewer: 'sieht, und druckt Berichte',
    carer: 'quittiert auch, stellt zurück, schreibt Vermerke, führt Sitzungen und Versuche',
    engineer: 'kalibriert auch, probt, gibt Dateien aus, macht Links zu Sitzen',
    admin: 'auch Konten, Schlüssel und Wandbildschirme',
  },
  screen: (name) => `Wandbildschirm ${name}`,
  notYours: (role) => `Nicht als ${role}: Fragen Sie jemanden, dessen Rolle das darf.`,
  notShown: (role) => `Diese Seite wird der Rolle ${role} nicht gezeigt.`,
  change: 'Passwort ändern',
  old: 'Das bisherige Passwort',
  next: 'Das neue',
  nextHint: 'Mindestens 12 Zeichen. Ein paar Wörter, die nicht zusammengehören, merken sich leicht.',
  changeDo: 'Ändern',
  screenTitle: 'Ein Wandbildschirm',
  screenWrong: 'Dieser Link öffnet hier nichts. Fragen Sie die Verwaltung nach einem anderen.',
  noAnswer: 'Der Dienst antwortet nicht. Versuchen Sie es gleich noch einmal.',
  notDone: (status) => `Es geschah nicht (${status}).`,
};
