package main

import (
	"flag"
	"io/fs"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"weald/cmd/internal/beds"
	"weald/ingest/recorded"
	"weald/rules/posture"
)

var full = flag.Bool("full", false, "fit as much as the coefficients were fitted, for minutes")

// recordings returns the folders of real recordings.
func recordings(t *testing.T) (postures, layers fs.FS) {
	t.Helper()
	return os.DirFS(recorded.Path(t, "bed-postures")), os.DirFS(recorded.Path(t, "bed-two-layers"))
}

// A course is what the tests fit models to, each model once.
type course struct {
	*lesson
	rounds int
	fitted map[string]*posture.Model // by who is left out
}

// taught is the course that both tests of it take, or what the coefficients were fitted
// to.
var taught *course

func takes(t *testing.T) *course {
	t.Helper()
	if taught != nil {
		return taught
	}
	every, invent, rounds := 40, 5, 12
	if *full {
		every, invent, rounds = everyFrame, inventions, passes
	}
	postures, layers := recordings(t)
	l, err := read(postures, layers, every, invent)
	if err != nil {
		t.Fatal(err)
	}
	taught = &course{l, rounds, map[string]*posture.Model{}}
	return taught
}

// but returns the model of everybody but one.
func (c *course) but(name string) *posture.Model {
	if c.fitted[name] == nil {
		c.fitted[name] = c.without(c.rounds, name)
	}
	return c.fitted[name]
}

// Each subject is recognised by coefficients that never saw them, as recorded
// and as somebody else on another mat. The recordings are the set that beds
// names; what is asked of them as recorded is what is asked of the program.
func TestEachIsRecognisedByTheOthers(t *testing.T) {
	step, subjects := 40, 9
	most := []string{"as recorded", "mirrored", "thinner by 0.3 of the typical pressure", "150 mm to one side", "5 % dead, not known", "32 x 16 cells", "much of it at once"}
	if *full {
		step, subjects = 1, 99
	}
	postures, _ := recordings(t)
	l := takes(t)
	table := slices.DeleteFunc(beds.Table(), func(u beds.Unlike) bool { return !*full && !slices.Contains(most, u.Name) })
	scores := make([]beds.Score, len(table))
	for _, name := range l.subjects[:min(subjects, len(l.subjects))] {
		maps, err := beds.Postures(postures, name, step)
		if err != nil {
			t.Fatal(err)
		}
		model := l.but(name)
		for i := range table {
			r := rand.New(rand.NewPCG(1, uint64(i)))
			var rec *posture.Recogniser
			for _, m := range maps {
				m = table[i].Alter(r, m)
				if rec == nil {
					rec = posture.NewWith(m.Mat, model)
				}
				scores[i].Add(m.Lies, rec.Recognise(m.Values))
			}
		}
	}
	for i := range table {
		t.Logf("%-40s %v", table[i].Name, scores[i])
	}
	if s := scores[0]; s.Accuracy() < 0.995 {
		t.Errorf("as recorded %v, want at least 99.5 %% right", s)
	}
	for i := range table {
		if s := scores[i]; s.Errors() > 0.03 {
			t.Errorf("%s: %v: of what is answered at most 3 %% may be wrong", table[i].Name, s)
		}
	}
}
