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
    places: 'alle Plätze', alerts: 'die Meldungen', sessions: 'die Sitzungen', session: 'eine Sitzung', marks: 'die Vermerke', attempts: 'die Versuche', attempt: 'einen Versuch', audit: 'diese Liste',
    'alert-changes': 'was aus Meldungen wurde', 'alert-figures': 'wie es um die Meldungen steht', rehearsals: 'Proben', proposals: 'Vorschläge', everything: 'alles', 'my-seat': 'den eigenen Sitz', 'my-seat-day': 'den Tag auf dem eigenen Sitz',
  },
  done: {
    viewed: 'angesehen', exported: 'ausgegeben', reported: 'einen Bericht machen lassen', 'backed-up': 'die Aufzeichnung kopieren lassen', tested: 'eine Testnachricht senden lassen',
    configured: 'Konfiguration', deleted: 'gelöscht, wie es die Konfiguration verlangt', erased: 'die Daten einer Person gelöscht', logged: 'Anmeldung', rehearsed: 'geprobt',
    refused: 'abgewiesen', unseen: 'Blicke, die nicht notiert wurden', acknowledge: 'quittiert', shelve: 'zurückgestellt', unshelve: 'Zurückstellung aufgehoben',
    'out-of-service': 'außer Betrieb genommen', 'in-service': 'wieder in Betrieb genommen', mark: 'etwas vermerkt', proposed: 'eine Änderung vorgeschlagen',
    'seat-link-made': 'einen Link gemacht', 'seat-link-withdrawn': 'einen Link zurückgenommen', 'session-begun': 'eine Sitzung begonnen', 'session-ended': 'eine Sitzung beendet',
    'session-noted': 'eine Notiz geschrieben', 'attempt-begun': 'einen Versuch begonnen', 'attempt-read': 'einen Schritt eines Versuchs abgelesen', 'attempt-ended': 'einen Versuch beendet', 'attempt-left': 'einen Versuch abgebrochen',
    calibrate: 'kalibriert', 'calibration-refused': 'vergeblich kalibriert', check: 'eine Kalibrierung geprüft', zero: 'genullt', 'zero-undone': 'eine Nullung zurückgenommen',
    'account-made': 'ein Konto gemacht', 'account-role': 'eine andere Rolle gegeben', 'account-password': 'ein anderes Passwort gegeben', 'account-removed': 'ein Konto entfernt',
    'account-logged-out': 'Anmeldungen beendet', 'token-made': 'einen Schlüssel gemacht', 'token-withdrawn': 'einen Schlüssel zurückgenommen', 'screen-made': 'einen Wandbildschirm gemacht', 'screen-withdrawn': 'einen Wandbildschirm zurückgenommen',
  },
};

export const leaves: Said<typeof en.leaves> = {
  title: 'Was diese Maschine verlässt',
  none: 'Von selbst nichts. Wer diese Seiten öffnet, bekommt, was darauf steht.',
  some: 'Von selbst dies und sonst nichts. Wer diese Seiten öffnet, bekommt, was darauf steht.',
  columns: { by: 'Verlangt von', to: 'Geht an', what: 'Enthält' },
  kinds: {
    alerts: 'Meldungen: Platz, Regel, Priorität, die Zahlen dazu, wann; das Kürzel dessen, der sich kümmert, und kein Grund; täglich eine Testnachricht',
    beats: 'dass der Dienst arbeitet: eine Zahl, die Zeit, das Ende der Prüfkette, und nichts von Plätzen und Menschen',
    directory: 'dass sich jemand anmelden will, wenn es jemand tut; das Verzeichnis sagt, wer, und erfährt nichts von Plätzen und Menschen',
    record: 'die ganze Aufzeichnung, damit mehrere Maschinen sie haben',
    asks: 'was nötig ist, um Messwerte anzufordern, und keine Messwerte',
  },
};
