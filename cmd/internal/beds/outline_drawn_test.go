package beds

import (
	"encoding/csv"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"testing"

	"weald/ingest/recorded"
	"weald/rules/outline"
)

// A stretch is the length of the mat, as shares from the head, that a person drew
// round a part of a body.
type stretch struct{ from, to float64 }

// drawings reads the regions that the makers of the PoPu set drew by hand, by
// pose and name.
func drawings(t *testing.T, dir fs.FS) map[string]map[string]stretch {
	t.Helper()
	f, err := dir.Open("regions.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]stretch{}
	for _, row := range rows[1:] {
		if out[row[0]] == nil {
			out[row[0]] = map[string]stretch{}
		}
		p, ok := out[row[0]][row[1]]
		if !ok {
			p = stretch{1, 0}
		}
		for _, corner := range strings.Split(row[2], ";") {
			y, err := strconv.ParseFloat(strings.Fields(corner)[1], 64)
			if err != nil {
				t.Fatal(err)
			}
			p.from, p.to = min(p.from, y/100), max(p.to, y/100)
		}
		out[row[0]][row[1]] = p
	}
	return out
}

// What is found on another mat and another person is where its makers drew it.
func TestOutlineIsWherePeopleDrewIt(t *testing.T) {
	dir := os.DirFS(recorded.Path(t, "bed-two-layers"))
	drawn := drawings(t, dir)
	maps, labels, err := Layers(dir, Over, "supine", "left", "right")
	if err != nil {
		t.Fatal(err)
	}
	tries, n, agree := 0, map[string]int{}, map[string]int{}
	for i := 0; i < len(maps); i += 10 { // the frames of a take are alike
		m := maps[i]
		pose, _, _ := strings.Cut(labels[i], "_")
		parts := drawn[pose]
		tries++
		for _, r := range outline.Bed(&m.Mat, m.Values).Found {
			rows := float64(m.Mat.Rows)
			from, to := float64(r.Rows[0])/rows, float64(r.Rows[1]+1)/rows
			middle := (from + to) / 2
			part, ok := parts[map[string]string{outline.Head: "Head", outline.Shoulders: "Torso", outline.Pelvis: "Upper Legs", outline.Heels: "Lower Legs"}[r.ID]]
			if !ok {
				continue // not drawn in this pose
			}
			is := part.from < middle && middle < part.to
			switch r.ID {
			case outline.Head:
				is = from < part.to && to > part.from
			case outline.Heels:
				is = from < part.to && to > part.to-0.1
			}
			n[r.ID]++
			if is {
				agree[r.ID]++
			} else {
				t.Logf("%s: %s found at %.2f to %.2f, drawn at %.2f", labels[i], r.ID, from, to, part)
			}
		}
	}
	for _, id := range []string{outline.Head, outline.Shoulders, outline.Pelvis, outline.Heels} {
		t.Logf("%-10s found in %d of %d takes, of %d that have a drawing %d agree", id, n[id], tries, n[id], agree[id])
		if float64(agree[id]) < 0.9*float64(n[id]) || n[id] < tries/5 {
			t.Errorf("%s: %d of %d are where they were drawn", id, agree[id], n[id])
		}
	}
}
