package rules_test

import (
	"testing"
	"time"

	"weald/rules"
)

// Which is the left and which the right of a seat, its sites or the regions of its mat
// say by their names, and where they do not the halves of the mat as it is seen from
// above, or every other site. Whoever leans off one side has shifted their weight, on
// whatever the sides are, and who only loses what is on neither side has not.
func TestSidesOfASeat(t *testing.T) {
	sites := func(ids ...string) rules.Place {
		p := rules.Place{ID: "seat-1", Kind: rules.Seat}
		for i, id := range ids {
			p.Sites = append(p.Sites, rules.Site{ID: id, Channels: []rules.Channel{{Index: i}}})
		}
		return p
	}
	mat := func(regions ...rules.Region) rules.Place {
		return rules.Place{ID: "seat-1", Kind: rules.Seat, Mat: &rules.Mat{Rows: 2, Columns: 3, PitchMM: [2]float64{40, 40}, Regions: regions}}
	}
	all := []int{0, 1, 2, 3, 4, 5}
	for name, c := range map[string]struct {
		place rules.Place
		off   []int // channels that lose their load, of six
		shift bool
	}{
		"a side by its name":                 {sites("left", "right"), []int{0}, true},
		"the other side":                     {sites("left", "right"), []int{1}, true},
		"names that end with the side":       {sites("hip_left", "hip-right", "tail"), []int{1}, true},
		"names that begin with it":           {sites("left-hip", "tail", "right_hip"), []int{0}, true},
		"what is on no side":                 {sites("left", "right", "tail"), []int{2}, false},
		"a name that only has it within":     {sites("leftover", "bright"), []int{0}, true}, // every other one
		"half of a side is not a third less": {sites("left", "left_back", "right", "right_back"), []int{}, false},
		"half of a side":                     {sites("left", "left_back", "right", "right_back"), []int{1}, true},
		"one site is both sides":             {sites("seat"), []int{0}, true},
		"regions of a mat":                   {mat(rules.Region{ID: "left", Cells: []int{0, 3}}, rules.Region{ID: "right", Cells: []int{2, 5}}), []int{0, 3}, true},
		"between the regions":                {mat(rules.Region{ID: "left", Cells: []int{0, 3}}, rules.Region{ID: "right", Cells: []int{2, 5}}), []int{1, 4}, false},
		"the left of the halves":             {mat(), []int{0, 1, 3, 4}, true},
		"the right of the halves":            {mat(), []int{2, 5}, true},
		"a name for one side alone":          {mat(rules.Region{ID: "left", Cells: []int{0}}), []int{0}, false}, // the halves then
		"everything":                         {mat(), all, false},
	} {
		plan := &rules.Plan{
			Sources: []rules.Source{{ID: "a/seat", Channels: 6, StaleAfter: time.Second, Calibrated: true}},
			Places:  []rules.Place{c.place},
		}
		s := newStory(t, plan)
		values := repeat(60, 6)
		second := 0
		sit := func(seconds int) {
			for ; seconds > 0; seconds-- {
				s.scan(0, time.Duration(second)*time.Second, values...)
				second++
			}
		}
		sit(150)
		for _, i := range c.off {
			values[i] = 0
		}
		sit(20)
		values = repeat(60, 6)
		sit(5)
		shifts, reliefs := s.signal(t, "relief.shifts").Value, s.signal(t, "relief.reliefs").Value
		if name == "everything" || name == "one site is both sides" {
			if shifts != 0 || reliefs != 1 {
				t.Errorf("%s: %v shifts and %v reliefs, want a relief", name, shifts, reliefs)
			}
			continue
		}
		if (shifts == 1) != c.shift || reliefs != 0 {
			t.Errorf("%s: %v shifts and %v reliefs, a shift is %t", name, shifts, reliefs, c.shift)
		}
	}
}
