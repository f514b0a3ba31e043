package importing

import (
	"fmt"
	"testing"
	"time"

	"weald/ingest/sample"
)

// When clocks go back, the hour that comes twice is read in the order of the
// rows, also where a row in between was refused.
func TestTheHourThatComesTwice(t *testing.T) {
	b := local(t)
	a := exact(t, b, lines(
		"2025-10-26 01:59:59;1;2",
		"2025-10-26 02:00:00;1;2",
		"2025-10-26 02:10:00;1;2",
		"2025-10-26 02:59:59;x;2", // refused, and yet it tells that the next is the second pass
		"2025-10-26 02:30:00;1;2",
		"2025-10-26 02:59:59;1;2",
		"2025-10-26 03:00:00;1;2",
	))
	src := a.Sources[0]
	if src.FirstPass != 2 || src.SecondPass != 2 || src.StepsBack != 0 || src.Late != 0 {
		t.Errorf("account %+v", src)
	}
	if src.First != at(t, "2025-10-25T23:59:59Z") || src.Last != at(t, "2025-10-26T02:00:00Z") {
		t.Errorf("from %v to %v", src.First, src.Last)
	}
	if s := a.Steps[1]; s.Line != 5 || s.To != at(t, "2025-10-26T01:30:00Z") {
		t.Errorf("steps %+v", a.Steps)
	}
}

func TestTheHourThatNeverComes(t *testing.T) {
	a := exact(t, local(t), lines(
		"2026-03-29 01:59:59;1;2",
		"2026-03-29 02:30:00;1;2",
		"2026-03-29 03:00:00;1;2",
	))
	if a.Frames != 2 || a.Sources[0].Pauses != 0 || len(a.Problems) != 1 || a.Problems[0].Line != 2 {
		t.Fatalf("account %+v", a)
	}
	const want = `time: column 0: "2026-03-29 02:30:00" is a local time that does not exist, as clocks go forward then`
	if a.Problems[0].Text != want {
		t.Errorf("says %q", a.Problems[0].Text)
	}
}

// Clocks that jump are told of, and everything is taken as it is.
func TestClocksThatJump(t *testing.T) {
	a := exact(t, seconds(), lines(
		"100;1;2",
		"101;1;2",
		"101;1;2",    // stands still
		"3702,5;1;2", // forward by an hour and a bit
		"3703,5;1;2",
		"103,5;1;2", // and back by an hour exactly
		"104,5;1;2",
		"3704;1;2",
	))
	src := a.Sources[0]
	if a.Frames != 8 || !a.Clean() || src.Scans != 8 {
		t.Errorf("took %d: %v", a.Frames, a.Refused)
	}
	if src.StandStills != 1 || src.StepsBack != 1 || src.Pauses != 2 || src.Late != 2 {
		t.Errorf("account %+v", src)
	}
	want := []Step{
		{Source: "logger/leg", Line: 4, Byte: 24, From: 101e9, To: 3702.5e9, Hour: true},
		{Source: "logger/leg", Line: 6, Byte: 46, From: 3703.5e9, To: 103.5e9, Hour: true},
		{Source: "logger/leg", Line: 8, Byte: 66, From: 104.5e9, To: 3704e9, Hour: true},
	}
	if len(a.Steps) != len(want) {
		t.Fatalf("steps %+v", a.Steps)
	}
	for i, s := range a.Steps {
		if s != want[i] {
			t.Errorf("step %d: %+v, want %+v", i, s, want[i])
		}
	}
	if d := a.Steps[1].By(); d != -time.Hour {
		t.Errorf("the clock goes by %v", d)
	}
}

// A silence is a pause once it lasts longer than the values.
func TestAPause(t *testing.T) {
	a := exact(t, seconds(), lines("0;1;2", "3;1;2", "6,5;1;2", "106,5;1;2"))
	if src := a.Sources[0]; src.Pauses != 2 || src.Silent != 103500*time.Millisecond {
		t.Errorf("account %+v", src)
	}
	if s := a.Steps[1]; s.Hour || s.Line != 4 {
		t.Errorf("step %+v", s)
	}
}

// The law of the fold: an instant is in a pass of an hour that comes twice
// exactly when another instant, close by, shows the same on a clock on the wall.
func TestFold(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata", "UTC", "Africa/Casablanca"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Skipf("no time zones here: %v", err)
		}
		f := &fold{zone: zone}
		passes := map[pass]int{}
		show := func(at sample.Instant) string { return at.Time().In(zone).Format(time.DateTime) }
		begin := at(t, "2025-01-01T00:00:00Z")
		for i := range 366 * 24 * 4 {
			now := begin.Add(time.Duration(i) * 15 * time.Minute)
			want := only
			for _, d := range []time.Duration{30 * time.Minute, time.Hour} {
				if show(now) == show(now.Add(d)) {
					want = first
				}
				if show(now) == show(now.Add(-d)) {
					want = second
				}
			}
			got := f.pass(now)
			if got != want {
				t.Fatalf("%s: %v (%s) is in pass %d, want %d", name, now, show(now), got, want)
			}
			passes[got]++
		}
		if passes[first] != passes[second] {
			t.Errorf("%s: %s", name, fmt.Sprint(passes))
		}
	}
}
