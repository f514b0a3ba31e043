package fit

import (
	"errors"
	"strings"
	"testing"

	"weald/ingest/calib/figures"
)

// Holds that a channel that does not follow the cuff is said to do just that, and that its
// connection is asked after, whatever a few counts of scatter look like in mmHg; and that a
// channel with the same scatter that does follow is no such one.
func TestBesideTheCuff(t *testing.T) {
	table := func(perLevel float64) []figures.Row {
		var rows []figures.Row
		for cycle := 1; cycle <= 3; cycle++ {
			for level := range 11 {
				scatter := float64((7*level+5*cycle)%9) / 8
				rows = append(rows, figures.Row{Reference: float64(10 * level), Raw: 100 + perLevel*float64(level) + scatter, Cycle: cycle, Direction: figures.Up})
			}
		}
		return rows
	}
	_, err := Fit(table(0), Defaults())
	refused, ok := errors.AsType[Refused](err)
	if !ok || len(refused) != 1 || !strings.Contains(err.Error(), "does not respond: its readings differ by") || !strings.Contains(refused[0].Advice, "under the cuff") {
		t.Errorf("beside the cuff: %v", err)
	}
	if _, err := Fit(table(40), Defaults()); err != nil {
		t.Errorf("under it: %v", err)
	}
	// What one reading scatters by, as a live run tells, is enough to know it.
	o := Defaults()
	o.Noise = 1.2
	if _, err := Fit(table(0)[:11], o); err == nil || !strings.Contains(err.Error(), "does not respond") {
		t.Errorf("beside the cuff, once: %v", err)
	}
}
