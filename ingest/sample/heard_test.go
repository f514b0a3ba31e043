package sample

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// What is remembered of a source are the scans of the last minute, at least 256 and at
// most 8,192, however fast they came and whoever went on with a copy; and no more is held
// than some times as many.
func TestLately(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Lately{}
		var all []Heard
		now := Instant(1_800_000_000_000_000_000)
		for range rapid.IntRange(1, 4).Draw(t, "stretches") {
			every := time.Duration(rapid.SampledFrom([]int{1, 10, 50, 1000, 60_000}).Draw(t, "ms")) * time.Millisecond
			for range rapid.IntRange(0, 12_000).Draw(t, "scans") {
				now = now.Add(every)
				h := Heard{First: uint32(len(all)), Seq: uint32(len(all)), Arrived: now}
				l.Add("hub/leg", h)
				all = append(all, h)
			}
			if rapid.Bool().Draw(t, "copied") {
				was := l
				l = l.Clone()
				was.Add("hub/leg", Heard{})
			}
			n := 0
			for n < len(all) && (n < 256 || n < 8192 && now.Sub(all[len(all)-1-n].Arrived) < time.Minute) {
				n++
			}
			if got := l.Last("hub/leg"); !slices.Equal(got, all[len(all)-n:]) {
				t.Fatalf("of %d scans %d are remembered, want %d", len(all), len(got), n)
			}
			if held := cap(l["hub/leg"]); held > 4*8192 {
				t.Fatalf("room for %d is held", held)
			}
		}
	})
}

// Once there is room for a minute, no scan needs more.
func TestLatelyDoesNotGrow(t *testing.T) {
	l := Lately{}
	now := Instant(0)
	add := func() {
		now = now.Add(10 * time.Millisecond)
		l.Add("hub/leg", Heard{Arrived: now})
	}
	for range 30_000 {
		add()
	}
	if n := testing.AllocsPerRun(30_000, add); n != 0 {
		t.Errorf("%v allocations a scan, want none", n)
	}
}
