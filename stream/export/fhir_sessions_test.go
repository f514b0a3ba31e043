package export

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

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
	// What is read when a session ends is not of it.
	want := []string{"", "", "K-07", "K-07", "", "", "", "K-08", "K-08", "K-09", "K-09", "K-09"}
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

// Holds, for sessions and readings that begin and end anywhere on the grid or beside it, that each
// Observation has readings of its own session alone, each at its own sample first, and that no
// sample shows one that had ended by then, or one from before the edge of a session.
func TestFHIRClaimsNothingBeyondAReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const stale = 700 * time.Millisecond
		ms := func(d int) sample.Instant { return after(time.Duration(d) * time.Millisecond) }
		regular := rapid.Bool().Draw(t, "regular")
		var rows []Row
		for at := rapid.IntRange(0, 900).Draw(t, "first"); at < 9000; {
			r := Row{At: ms(at), Values: []float64{float64(len(rows) + 1)}}
			if rapid.Bool().Draw(t, "ends sooner") {
				r.Until = ms(at + rapid.IntRange(1, 800).Draw(t, "until"))
			}
			rows = append(rows, r)
			at += rapid.SampledFrom([]int{95, 100, 105, 330, 650, 1400}).Draw(t, "step")
		}
		r := one(Signal{Name: "left.pressure", Unit: "mmHg"}, 9*time.Second, nil)
		r.Tracks[0] = single("left.pressure", "mmHg", 0, rows...)
		if r.Tracks[0].StaleAfter = stale; regular {
			r.Tracks[0].Rate = 10
		}
		for at := rapid.IntRange(0, 2000).Draw(t, "begins"); at < 9000; {
			to := at + rapid.IntRange(1, 3000).Draw(t, "lasts")
			r.Header.Sessions = append(r.Header.Sessions, Session{"K-07", ms(at).String(), ms(at), ms(to)})
			at = to + rapid.SampledFrom([]int{0, 0, 40, 900}).Draw(t, "pause")
		}
		whose := func(at sample.Instant) string {
			for _, s := range r.Header.Sessions {
				if at >= s.From && at < s.To {
					return s.ID
				}
			}
			return ""
		}
		f, err := newFHIRExport(&r, Options{})
		if err == nil {
			err = f.survey(context.Background())
		}
		var out bytes.Buffer // and no file, which would take most of the time
		p := &part{Writer: bufio.NewWriter(&out)}
		if err == nil {
			err = f.write(context.Background(), p)
		}
		if err := errors.Join(err, p.Flush()); err != nil {
			t.Fatal(err)
		}
		var bundle readBundle
		if err := json.Unmarshal(out.Bytes(), &bundle); err != nil {
			t.Fatal(err)
		}
		last := 0
		for _, e := range bundle.Entry {
			of := ""
			if e.Resource.Encounter != nil {
				of = e.Resource.Encounter.Identifier.Value
			}
			for i, v := range e.Resource.Value.read(t) {
				if v != v {
					continue
				}
				at := sample.At(e.Resource.Effective.Start).Add(time.Duration(i) * 100 * time.Millisecond)
				row := rows[int(v+0.5)-1]
				until := row.At.Add(stale)
				if row.Until != 0 {
					until = min(until, row.Until)
				}
				held := int(v+0.5) == last
				last = int(v + 0.5)
				switch {
				case whose(row.At) != of:
					t.Fatalf("the reading of %v is of session %q and shown in %q at %v", row.At, whose(row.At), of, at)
				case at >= until:
					t.Fatalf("the reading of %v, which lasts until %v, is shown at %v", row.At, until, at)
				case held && whose(at) != of:
					t.Fatalf("the reading of %v is held at %v, over the edge of session %q", row.At, at, of)
				}
			}
		}
	})
}
