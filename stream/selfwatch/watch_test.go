package selfwatch

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
)

const base = sample.Instant(1772366400e9)

// with returns looks at which only one kind has a number.
func with(kind string, v float64) []float64 {
	out := make([]float64, len(Kinds))
	for k := range out {
		out[k] = math.NaN()
	}
	out[Index(kind)] = v
	return out
}

// Every kind is raised by a number beyond its limit after its time, not before, and not
// by one that is nobody's; it is over a minute after the number is well back, and what
// it says names the number and what to do.
func TestEveryKindIsRaisedAndCleared(t *testing.T) {
	wrong := map[string]struct {
		bad, good float64
		says      string
	}{
		Silence: {400, 2, "for 7 min"}, Loop: {25, 1, "for 25 s"}, Disk: {1.2, 9, "1.2 GB"}, ClockStep: {3600, 0.1, "60 min"},
		ClockError: {16, 0.02, "16 s"}, Behind: {2.5, 0, "2.5 s"}, Memory: {4, 60, "4 %"}, Certificate: {6.5, 90, "6 days"}, Heartbeat: {4.2, 0, "4 beats"}, Log: {40, 0.1, "for 40 s"},
	}
	if len(wrong) != len(Kinds) {
		t.Errorf("%d kinds are looked at, there are %d", len(wrong), len(Kinds))
	}
	const step = 5 * time.Second
	for k, kind := range Kinds {
		c, w := wrong[kind.ID], NewWatch(Defaults())
		at, changes := base, []Change(nil)
		look := func(v float64, span time.Duration) {
			for end := at.Add(span); at < end; at = at.Add(step) {
				changes = append(changes, w.Look(at, with(kind.ID, v))...)
			}
		}
		look(c.good, time.Minute)
		look(math.NaN(), time.Hour)
		if words := w.Conditions()[k].Words(); words != "" {
			t.Errorf("%s: nothing is wrong, and %q is said", kind.ID, words)
		}
		if len(changes) != 0 || w.Conditions()[k].Raised {
			t.Fatalf("%s: well, then unknown, and %v", kind.ID, changes)
		}
		began := at
		look(c.bad, kind.Default.After+step)
		if words := w.Conditions()[k].Words(); words == "" {
			t.Errorf("%s: nothing is said of what is beyond its limit", kind.ID)
		}
		if len(changes) != 1 || changes[0].At != began.Add(kind.Default.After) || changes[0].Fault.Over || changes[0].Fault.Priority != kind.Default.Priority {
			t.Fatalf("%s: beyond its limit from %v: %+v", kind.ID, began, changes)
		}
		e := changes[0].event()
		if e.What != alert.Raised || e.Rule != kind.ID || e.Place != "" || e.Priority != kind.Default.Priority || !strings.Contains(e.Text, c.says) || !strings.Contains(e.Text, ":") && !strings.Contains(e.Text, ".") {
			t.Errorf("%s: it is said as %+v", kind.ID, e)
		}
		if now := w.Conditions()[k]; !now.Raised || now.Since != changes[0].At || now.Text != e.Text {
			t.Errorf("%s: it stands as %+v", kind.ID, now)
		}
		look(math.NaN(), 24*time.Hour)
		if len(changes) != 1 {
			t.Fatalf("%s: that nobody knows has ended it: %v", kind.ID, changes[1:])
		}
		look(c.good, Settles-step)
		look(c.bad, 2*step) // it comes and goes within a minute: one alert
		began = at
		look(c.good, Settles+2*step)
		if len(changes) != 2 || changes[1].At != began.Add(Settles) || !changes[1].Fault.Over || changes[1].event().Held != changes[1].At.Sub(changes[0].At) {
			t.Fatalf("%s: well from %v: %+v", kind.ID, began, changes[1:])
		}
	}
}

// Looks that do not come are no looks: a machine that sleeps for an hour has not been
// short of memory for an hour.
func TestWhatIsNotLookedAtIsNotKnown(t *testing.T) {
	w := NewWatch(Defaults())
	w.Look(base, with(Behind, 3))
	if found := w.Look(base.Add(time.Hour), with(Behind, 0)); len(found) != 1 || found[0].At != base.Add(lasts) {
		t.Errorf("a look lasts for its time, which is that of this rule: %+v", found)
	}
	w = NewWatch(Defaults())
	w.Look(base, with(Memory, 3))
	if found := w.Look(base.Add(time.Hour), with(Memory, 3)); len(found) != 0 {
		t.Errorf("two looks an hour apart have raised %+v", found)
	}
}

// The same looks at the same instants say the same, and one that is off says nothing.
func TestTheSameLooksSayTheSame(t *testing.T) {
	settings := Defaults()
	settings[Index(Disk)].Off = true
	run := func() (out []string) {
		w, at := NewWatch(settings), base
		for i := range 2000 {
			values := with(Behind, float64(i/20*7919%400)/100)
			values[Index(Memory)], values[Index(Disk)] = float64(i/30*104729%3000)/100, 0
			for _, c := range w.Look(at, values) {
				out = append(out, c.At.String()+c.Fault.Text)
			}
			at = at.Add(5 * time.Second)
		}
		return out
	}
	first := run()
	if !slices.Equal(first, run()) || len(first) < 4 || slices.ContainsFunc(first, func(s string) bool { return strings.Contains(s, "GB") }) {
		t.Errorf("%d changes, of which the first are %q", len(first), first[:min(4, len(first))])
	}
}

// Each says what is wrong and when it is over, in one line.
func TestKindsSayWhatIsWrong(t *testing.T) {
	for _, k := range Kinds {
		said := k.says(3, k.Default.Limit)
		if k.over == "" || strings.Contains(said, "\n") || Index(k.ID) < 0 {
			t.Errorf("%s: over %q, says %q", k.ID, k.over, said)
		}
	}
	if said := Kinds[Index(Certificate)].says(-1, 14); !strings.Contains(said, "has expired") {
		t.Error(said)
	}
}
