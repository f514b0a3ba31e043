package person

import (
	"testing"

	"weald/stream/record"
	"weald/stream/sessions"
)

// Holds that what was read as the next session began, just as a person's ended, is of that one and
// stays where the person is taken out; at another place, or with no next one, it is of the person.
func TestTheFirstReadingOfTheNextStays(t *testing.T) {
	j := opened(t, t.TempDir())
	for _, step := range []struct {
		at                    float64
		place, what, id, code string
	}{
		{0, "bed-4", sessions.Begun, "s-1", "K-07"}, {5, "bed-4", sessions.Ended, "s-1", "K-07"},
		{5, "bed-4", sessions.Begun, "s-2", "K-08"}, {9, "bed-4", sessions.Ended, "s-2", "K-08"},
		{9, "bench-1", sessions.Begun, "s-3", "K-08"},
		{10, "bed-4", sessions.Begun, "s-4", "K-09"}, {10, "bed-4", sessions.Ended, "s-4", "K-09"}, // for no time
	} {
		e := record.Entry{At: minute(step.at), Written: minute(step.at), Place: step.place, Body: record.Session{ID: step.id, What: step.what, Code: step.code, Config: 1}}
		if _, err := j.Append(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	for code, want := range map[string]int64{"K-07": int64(minute(5)) - 1, "K-08": int64(minute(9)), "K-09": int64(minute(10))} {
		stays, err := Stays(t.Context(), j, code)
		if err != nil {
			t.Fatal(err)
		}
		if b := blanks(ward, &stays[0]); len(b) != 1 || int64(b[0].To) != want {
			t.Errorf("%s: %+v are taken out, want until %d", code, b, want)
		}
	}
}
