package export

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

// Holds that of a stretch with more sessions than one each reading is in an Observation of
// whoever's it was, once, and what was read between sessions is of nobody: a reading without
// a subject, or with another's, is worse than none to who receives it.
func TestFHIRSaysWhoseEachReadingWas(t *testing.T) {
	rows := make([]Row, 12)
	for i := range rows {
		rows[i] = Row{Values: []float64{float64(i + 1)}}
	}
	r := one(Signal{Name: "left.pressure", Unit: "mmHg"}, 12*time.Second, seconds(rows...))
	// The last one has not ended, and begins where the one before ends.
	r.Header.Sessions = []Session{
		{"K-07", "s-1", after(2 * time.Second), after(4 * time.Second)},
		{"K-08", "s-2", after(7 * time.Second), after(9 * time.Second)},
		{"K-09", "s-3", after(9 * time.Second), sample.Never},
	}
	// A reading is held for a second, and so is a session's last.
	want := []string{"", "", "K-07", "K-07", "K-07", "", "", "K-08", "K-08", "K-09", "K-09", "K-09"}
	encounters := map[string]string{"K-07": "s-1", "K-08": "s-2", "K-09": "s-3"}
	all, _ := observations(t, r)
	n := 0
	for _, o := range all {
		subject := ""
		if o.Subject != nil {
			subject = o.Subject.Identifier.Value
			if o.Encounter == nil || o.Encounter.Identifier.Value != encounters[subject] {
				t.Errorf("%s: the encounter is %+v", subject, o.Encounter)
			}
		} else if o.Encounter != nil {
			t.Errorf("an encounter of nobody: %+v", o.Encounter)
		}
		for i, v := range o.Value.samples(t) {
			k := int(o.Effective.Start.Sub(start.Time()).Seconds()) + i
			if k != n || k >= len(want) || v != float64(k+1) || subject != want[k] {
				t.Errorf("sample %d of %q is %v, at second %d", n, subject, v, k)
			}
			n++
		}
	}
	if n != len(want) {
		t.Errorf("%d samples", n)
	}
}
