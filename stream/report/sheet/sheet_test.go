package sheet

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
	"weald/ingest/calib/simulate"
)

var made = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

func example(t *testing.T) *record.Record {
	rows := simulate.New(7, 0.8, simulate.Faults{Noise: 0.4, Loop: 1.5, Cycle: 1, Repeat: 0.7}).Table(3)
	o := fit.Defaults()
	r, err := fit.Fit(rows, o)
	if err != nil {
		t.Fatal(err)
	}
	return r.Record(rows, fit.Circumstances{Bridge: "trolley", Source: "leg", Channel: 2, At: made, By: "E-01", Reference: "bench gauge <1>"}, o)
}

func printed(t *testing.T, r *record.Record, now time.Time) string {
	var b bytes.Buffer
	if err := Write(&b, r, now, "weald 1.2.3"); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What is printed as nothing has no sign: a residual of -0.04 mmHg is no negative one.
func TestNothingHasNoMinus(t *testing.T) {
	r := example(t)
	got := regexp.MustCompile(`>[-+]?0(\.0+)?<`).FindAllString(printed(t, r, made), -1)
	below := false
	for _, one := range r.Residuals() {
		below = below || one.Left < 0 && one.Left > -0.05
	}
	if !below || len(got) == 0 {
		t.Fatal("no residual is nothing when it is rounded: too tame to prove anything")
	}
	for _, zero := range got {
		if strings.ContainsAny(zero, "-+") {
			t.Errorf("the page has %s", zero)
		}
	}
}

// Everything that the record must show is there, and nothing is loaded.
func TestSheet(t *testing.T) {
	r := example(t)
	got := printed(t, r, made.Add(time.Hour))
	if path := os.Getenv("WEALD_SHEET"); path != "" { // to be looked at
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{
		"Calibration of trolley/leg/2", string(r.Verdict), r.ID(), "E-01", "4 March 2026, 10:00 UTC", "2 June 2026", "bench gauge &lt;1&gt;",
		"hysteresis", "repeatability", "signature", "not a medical device", "size: A4", "(taken)", "Made with weald 1.2.3.",
		"warned of above 5, rejected above 15",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(got, `<svg viewBox`); n != 2 {
		t.Errorf("%d drawings, want the loop and the residuals", n)
	}
	if n := strings.Count(got, "<circle"); n != 2*len(r.Rows) {
		t.Errorf("%d marks for %d readings in two drawings", n, len(r.Rows))
	}
	if strings.Contains(got, "past its date") {
		t.Error("a new record is past its date")
	}
	if !strings.Contains(printed(t, r, made.AddDate(1, 0, 0)), "past its date") {
		t.Error("after a year the page does not say that its date is past")
	}
	for _, no := range []string{"http:", "https:", "src=", "<script", "NaN", "Inf", "%!"} {
		if strings.Contains(got, no) {
			t.Errorf("the page has %q in it", no)
		}
	}
	if again := printed(t, r, made.Add(time.Hour)); again != got {
		t.Error("the same record at the same time gave another page")
	}
}

// The drawings are well-formed, and no mark lies outside.
func TestDrawings(t *testing.T) {
	r := example(t)
	for _, svg := range []string{string(loop(r)), string(residuals(r, r.Residuals()))} {
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		for _, m := range regexp.MustCompile(`c[xy]="(-[^"]*)"`).FindAllString(svg, -1) {
			t.Errorf("a mark lies at %s", m)
		}
	}
}
