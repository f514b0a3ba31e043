package api

import (
	"strings"
	"testing"

	"weald/stream/record"
)

// What tells who somebody is is refused in whatever people write, and not repeated;
// what is about work is not. The forms are invented; common practice, no source.
func TestWhoSomebodyIsIsNotKept(t *testing.T) {
	for _, text := range []string{
		"call Mrs Larch first", "Frau Larch möchte liegen", "Herrn Rowan fragen", "pat.larch@example.org", "born 12.03.1951", "1951-03-12", "+43 660 123 45 67",
	} {
		for _, b := range []record.Body{record.Mark{What: "turned", Text: text}, record.Mark{What: text}, record.Session{Notes: text}, record.Attempt{Notes: text}, record.Action{Reason: text}} {
			err := writtenError(b)
			if err == nil || !strings.Contains(err.Error(), "code") || strings.Contains(err.Error(), text) {
				t.Errorf("%T of %q: %v", b, text, err)
			}
		}
	}
	for _, text := range []string{
		"", "K-07 turned by N-4 and N-5", "Ward Larch, Bett 4: nach links gelagert", "dressing of 2026-03-01 is due again 03.03.2026", "42.5 mmHg +/- 2", "10.0.0.5:1883", "gauge 3, serial 1234567890", "-2+3", "missed the round",
	} {
		if err := wordsError("text", text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}
