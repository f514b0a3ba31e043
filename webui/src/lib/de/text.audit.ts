// Die deutschen Wörter darüber, wer was getan hat und was die Maschine verlässt.

import type { Said } from '../language';
import type * as en from '../text.audit';

export const audit: Said<typeof en.audit> = {
  title: 'Wer was getan hat',
  about: 'Was Menschen getan, gesehen und mitgenommen haben, das Neueste zuerst. Wer einen Platz ansieht, steht einmal je Viertelstunde da. Wird es später geändert, zeigt sich das am Ende der Kette, unten.',
  who: 'Wer',
  person: 'Über die Person',
  show: 'Zeigen',
  none: 'Nichts dergleichen.',
  failed: 'Die Aufzeichnung antwortet nicht.',
  newest: (n) => `Die neuesten ${n}. Der Befehl zeigt alles:`,
  columns: { at: 'Wann', who: 'Wer', what: 'Was' },
  itself: 'weald',
  somebody: 'jemand',
  at: (place) => `an ${place}`,
  of: (code) => `von ${code}`,
  erased: '(gelöscht)',
  head: 'Das Ende der Kette ist',
  headAbout: 'Notieren Sie es, wo niemand hinkommt, der die Aufzeichnung schreiben kann. Später zeigt es, ob davor etwas geändert oder abgeschnitten wurde:',
  things: {
    places: 'alle Plätze', alerts: 'die Alarme', sessions: 'die Sitzungen', session: 'eine Sitzung', marks: 'Marken', attempts: 'die Versuche', attempt: 'einen Versuch', audit: 'diese Liste',
    'alert-changes': 'was aus Alarmen wurde', 'alert-figures': 'wie es mit Alarmen steht', rehearsals: 'Proben', proposals: 'Vorschläge', everything: 'alles', 'my-seat': 'den eigenen Sitz',
  },
  done: {
    viewed: 'angesehen', exported: 'exportiert', reported: 'einen Bericht machen lassen', 'backed-up': 'die Aufzeichnung kopieren lassen', tested: 'eine Probe senden lassen',
    configured: 'Konfiguration', deleted: 'gelöscht, wie es die Konfiguration verlangt', erased: 'die Daten einer Person gelöscht', logged: 'Anmeldung', rehearsed: 'geprobt',
    refused: 'abgewiesen', unseen: 'Blicke, die nicht notiert wurden', acknowledge: 'quittiert', shelve: 'zurückgestellt', unshelve: 'Zurückstellung aufgehoben',
    'out-of-service': 'außer Betrieb genommen', 'in-service': 'wieder in Betrieb genommen', mark: 'eine Marke gesetzt', proposed: 'eine Änderung vorgeschlagen',
    'seat-link-made': 'einen Link gemacht', 'seat-link-withdrawn': 'einen Link zurückgezogen', 'session-begun': 'eine Sitzung begonnen', 'session-ended': 'eine Sitzung beendet',
    'session-noted': 'eine Notiz geschrieben', 'attempt-begun': 'einen Versuch begonnen', 'attempt-read': 'einen Schritt eines Versuchs abgelesen', 'attempt-ended': 'einen Versuch beendet', 'attempt-left': 'einen Versuch abgebrochen',
    calibrate: 'kalibriert', 'calibration-refused': 'vergeblich kalibriert', check: 'eine Kalibrierung geprüft', zero: 'genullt', 'zero-undone': 'eine Nullung zurückgenommen',
    'account-made': 'ein Konto gemacht', 'account-role': 'eine andere Rolle gegeben', 'account-password': 'ein anderes Passwort gegeben', 'account-removed': 'ein Konto entfernt',
    'account-logged-out': 'Anmeldungen beendet', 'token-made': 'ein Token gemacht', 'token-withdrawn': 'ein Token zurückgezogen', 'screen-made': 'einen Wandschirm gemacht', 'screen-withdrawn': 'einen Wandschirm zurückgezogen',
  },
};

export const leaves: Said<typeof en.leaves> = {
  title: 'Was diese Maschine verlässt',
  none: 'Von selbst nichts. Wer diese Seiten öffnet, bekommt, was darauf steht.',
  some: 'Von selbst dies und sonst nichts. Wer diese Seiten öffnet, bekommt, was darauf steht.',
  columns: { by: 'Verlangt von', to: 'Geht an', what: 'Enthält' },
  kinds: {
    alerts: 'Alarme: Platz, Regel, Priorität, die Zahlen dazu, wann; das Kürzel dessen, der sich kümmert, und kein Grund; täglich eine Probe',
    beats: 'dass der Dienst arbeitet: eine Zahl, die Zeit, das Ende der Prüfkette, und nichts von Plätzen und Menschen',
    directory: 'dass sich jemand anmelden will, wenn es jemand tut; das Verzeichnis sagt, wer, und erfährt nichts von Plätzen und Menschen',
    record: 'die ganze Aufzeichnung, damit mehrere Maschinen sie haben',
    asks: 'was nötig ist, um Messwerte anzufordern, und keine Messwerte',
  },
};
