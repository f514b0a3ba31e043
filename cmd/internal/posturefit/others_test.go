package main

import (
	"flag"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"weald/cmd/internal/beds"
	"weald/rules/posture"
)

var full = flag.Bool("full", false, "fit as much as the coefficients were fitted, for minutes")

// recordings returns the folders of real recordings.
func recordings(t *testing.T) (postures, layers fs.FS) {
	t.Helper()
	data := os.Getenv("WEALD_DATA")
	if data == "" {
		data = filepath.Join("..", "..", "..", "..", "shared", "data")
	}
	if _, err := os.Stat(filepath.Join(data, "bed-postures")); err != nil {
		t.Skipf("recordings not found: %v", err)
	}
	return os.DirFS(filepath.Join(data, "bed-postures")), os.DirFS(filepath.Join(data, "bed-two-layers"))
}

// Each subject is recognised by coefficients that never saw them, as recorded
// and as somebody else on another mat. The recordings are the set that beds
// names; what is asked of them as recorded is what is asked of the program.
func TestEachIsRecognisedByTheOthers(t *testing.T) {
	every, invent, rounds, step, subjects := 40, 5, 12, 40, 9
	most := []string{"as recorded", "mirrored", "thinner by 0.3 of the typical pressure", "150 mm to one side", "5 % dead, not known", "32 x 16 cells", "much of it at once"}
	if *full {
		every, invent, rounds, step, subjects = everyFrame, inventions, passes, 1, 99
	}
	postures, layers := recordings(t)
	l, err := read(postures, layers, every, invent)
	if err != nil {
		t.Fatal(err)
	}
	table := slices.DeleteFunc(beds.Table(), func(u beds.Unlike) bool { return !*full && !slices.Contains(most, u.Name) })
	scores := make([]beds.Score, len(table))
	for _, name := range l.subjects[:min(subjects, len(l.subjects))] {
		maps, err := beds.Postures(postures, name, step)
		if err != nil {
			t.Fatal(err)
		}
		model := l.without(rounds, name)
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
