package report_test

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/rules/alert"
	"weald/stream/record"
	"weald/stream/report"
	"weald/stream/report/paper"
)

var update = flag.Bool("update", false, "write the golden file anew")

var evening = time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)

// aMinute is a session of a minute: an ankle that goes from 30 to 59.5 mmHg at two
// scans a second, with a hole from 20 to 30 s.
func aMinute(t *testing.T) *archive {
	a := newArchive(t, evening, bench)
	for i := range 120 {
		if s := time.Duration(i) * time.Second / 2; s < 20*time.Second || s >= 30*time.Second {
			a.reads("trolley/leg", a.at(s), 30+float64(i)/4, 20)
		}
	}
	a.session("s-one", "bench-1", "K-07", 0, time.Minute, `a <script>alert("note")</script> "quoted" & more`)
	a.note(35*time.Second, "bench-1", "T-1", record.Mark{What: "stood up", Text: `</td><svg onload=alert(1)>`})
	e := alert.Event{At: a.at(40 * time.Second), Key: alert.Key{Place: "bench-1", Rule: "tight", Subject: "ankle"}, What: alert.Raised, State: alert.Unacknowledged,
		Priority: alert.Medium, Signal: "ankle.pressure", Unit: "mmHg", Value: 50, U: 1.8, Limit: 60, Held: 10 * time.Second, Text: "ankle above <b>60</b> mmHg for 10 s"}
	a.note(40*time.Second, "bench-1", "", record.Transition{Event: e})
	e.At, e.What, e.State, e.Who = a.at(45*time.Second), alert.WasAcknowledged, alert.Acknowledged, "N-1"
	a.note(45*time.Second, "bench-1", "", record.Transition{Event: e})
	e.At, e.What, e.State = a.at(50*time.Second), alert.Cleared, alert.Normal
	a.note(50*time.Second, "bench-1", "", record.Transition{Event: e})
	return a
}

func written(t *testing.T, d *paper.Document, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	if d.Program != "weald 1.2.3" {
		t.Errorf("%s does not say what made it: %q", d.Title, d.Program)
	}
	var b bytes.Buffer
	if err := d.Write(&b); err != nil {
		t.Fatal(err)
	}
	if folder := os.Getenv("WEALD_REPORTS"); folder != "" { // to be looked at
		if err := os.WriteFile(filepath.Join(folder, t.Name()+".html"), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}

func TestSession(t *testing.T) {
	d, err := aMinute(t).source(time.UTC).Session(t.Context(), "s-one")
	got := written(t, d, err)
	const golden = "testdata/session.html"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the page is not %s; if it is right, go test -update writes it", golden)
	}
	// A value lasts for 3 s, so the hole of 10.5 s leaves 7.5 s unknown.
	known, sum, in := 0.0, 0.0, 0.0
	for i := range 120 {
		s, v := float64(i)/2, 30+float64(i)/4
		if s >= 20 && s < 30 {
			continue
		}
		lasts := 0.5
		if s == 19.5 {
			lasts = 3
		}
		known, sum = known+lasts, sum+v*lasts
		if v >= 35 && v <= 45 {
			in += lasts
		}
	}
	p := newLook(got)
	p.has(t, "observed", paper.Share(time.Duration(known*1e9), time.Minute)+" of the time")
	p.has(t, "Ankle: "+paper.Value(sum/known, 1.8, "mmHg")+" on average, in its band of 35 to 45 mmHg for "+paper.Share(time.Duration(in*1e9), time.Duration(known*1e9))+" of")
	if share := math.Floor(known/60*1000) / 10; share != 87.5 {
		t.Errorf("the reference itself says %v %%", share)
	}
	p.has(t, "after 5 s, N-1")
	p.has(t, "ankle: above 60 mmHg")
	p.has(t, "1 Mar 22:00:40", "10 s", "medium")
	for _, no := range []string{"<script", "<svg onload", "<b>", "http:", "https:", "NaN", "Inf", "%!"} {
		if strings.Contains(got, no) {
			t.Errorf("the page has %q in it", no)
		}
	}
}

// Of what was not kept nothing is said to be 0.
func TestNothingIsKnownOfNothing(t *testing.T) {
	a := newArchive(t, evening, bench, chair)
	a.session("s-leg", "bench-1", "K-07", 0, time.Hour, "")
	a.session("s-seat", "seat-1", "K-12", 0, 0, "")
	s := a.source(time.UTC)
	for _, id := range []string{"s-leg", "s-seat"} {
		d, err := s.Session(t.Context(), id)
		p := newLook(written(t, d, err))
		p.has(t, "No readings are kept of this time")
		p.has(t, "last reading none")
		for _, no := range []string{" 0 mmHg", " 0 weight", " 0.0 per hour"} {
			if strings.Contains(string(p), no) {
				t.Errorf("%s: of nothing %q is said", id, no)
			}
		}
	}
	d, err := s.Trial(t.Context(), report.Trial{From: math.MinInt64, To: math.MaxInt64}, func(float64) {})
	newLook(written(t, d, err)).has(t, "Nothing is known of the sessions.")
}

// A report names configurations that came into force meanwhile, and none that was undone
// before anything was judged by it.
func TestWhatWasUndoneIsNotSaidToHaveBeenInForce(t *testing.T) {
	a := aMinute(t)
	for i, text := range []string{"a", "b", "a", "c"} {
		c := record.NewConfig(uint64(i)+1, text)
		if i == 2 {
			c.Undoes = 2
		}
		a.note(time.Duration(10*i)*time.Second, "", "E-01", c)
	}
	d, err := a.source(time.UTC).Session(t.Context(), "s-one")
	p := newLook(written(t, d, err))
	p.has(t, "Configuration 4 came into force at")
	for _, no := range []string{"Configuration 1 came", "Configuration 2 came", "Configuration 3 came"} {
		if strings.Contains(string(p), no) {
			t.Errorf("the page says %q", no)
		}
	}
}
