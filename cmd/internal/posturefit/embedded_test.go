package main

import (
	"math/rand/v2"
	"slices"
	"testing"

	"weald/cmd/internal/beds"
	"weald/rules/posture"
)

// What is embedded recognises those that it was fitted to, which shows that it
// is whole, and whoever else is in the folder, which is the test of it: at least
// 98 % of every map from the first that is not damaged.
func TestSubjects(t *testing.T) {
	dir, _ := recordings(t)
	subjects, err := beds.Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range subjects {
		known := slices.Contains(posture.FittedTo, name)
		step, least := 1, 0.98
		if known {
			step, least = 10, 0.995
		}
		maps, err := beds.Postures(dir, name, step)
		if err != nil {
			t.Fatal(err)
		}
		rec := posture.New(beds.PosturesMat())
		var s beds.Score
		for _, m := range maps {
			s.Add(m.Lies, rec.Recognise(m.Values))
		}
		t.Logf("%s (fitted to: %v): %v", name, known, s)
		if s.Accuracy() < least || s.Errors() > 0.01 {
			t.Errorf("%s: %v, want %g right and 1 %% of the answers wrong at most", name, s, least)
		}
	}
}

// Under everything that Table does to them the subjects are still recognised.
// They are those it was fitted to; the same table of people that were not is
// made by TestEachIsRecognisedByTheOthers.
func TestPeopleUnlikeThese(t *testing.T) {
	dir, _ := recordings(t)
	var maps []beds.Map
	subjects, err := beds.Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range subjects {
		some, err := beds.Postures(dir, name, 40)
		if err != nil {
			t.Fatal(err)
		}
		maps = append(maps, some...)
	}
	for i, u := range beds.Table() {
		r := rand.New(rand.NewPCG(2, uint64(i)))
		var rec *posture.Recogniser
		var s beds.Score
		for _, m := range maps {
			m = u.Alter(r, m)
			if rec == nil {
				rec = posture.New(m.Mat)
			}
			s.Add(m.Lies, rec.Recognise(m.Values))
		}
		t.Logf("%-40s %v", u.Name, s)
		if s.Errors() > 0.02 {
			t.Errorf("%s: %v: at most 2 %% of the answers may be wrong", u.Name, s)
		}
	}
}

// Another mat, another mattress and another person; under the mattress there
// are 12 x 6 cells. Poses 2, 4 and 6 were not fitted to.
func TestOtherMats(t *testing.T) {
	_, dir := recordings(t)
	for _, c := range []struct {
		layer          beds.Layer
		right, covered float64
	}{{beds.Over, 0.99, 0.9}, {beds.Under, 0.95, 0.25}} {
		var words []string
		for _, pose := range []string{"2", "4", "6"} {
			words = append(words, "left"+pose, "right"+pose, "supine"+pose)
		}
		maps, _, err := beds.Layers(dir, c.layer, words...)
		if err != nil {
			t.Fatal(err)
		}
		rec := posture.New(c.layer.Mat)
		var s beds.Score
		for _, m := range maps {
			s.Add(m.Lies, rec.Recognise(m.Values))
		}
		t.Logf("%s: %v", c.layer.File, s)
		if s.Maps != 270 || s.Accuracy() < c.right || s.Coverage() < c.covered || s.Errors() > 0.03 {
			t.Errorf("%s: %v, want %g right and %g answered, of which 3 %% wrong at most", c.layer.File, s, c.right, c.covered)
		}
	}
}
