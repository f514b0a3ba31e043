package beds

import (
	"encoding/csv"
	"fmt"
	"io/fs"
	"strings"

	"weald/rules/posture"
)

// A Layer is one of the two mats of the PoPu set.
type Layer struct {
	File string
	Mat  posture.Mat
}

// The layers. Their pitch is not stated; these are estimates from the person.
var (
	Over  = Layer{"over.csv", posture.Mat{Rows: 64, Columns: 27, PitchMM: [2]float64{28, 26}}}
	Under = Layer{"under.csv", posture.Mat{Rows: 12, Columns: 6, PitchMM: [2]float64{150, 117}}}
)

// Layers returns the frames of a layer whose label begins with one of the
// given words, such as "left", each with its label, less what the mat reads with
// nobody on it. Frames of "prone" and
// "others" have no position; "empty" has nobody.
func Layers(dir fs.FS, l Layer, words ...string) (maps []Map, labels []string, err error) {
	f, err := dir.Open(l.File)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, nil, err
	}
	rest, err := l.rest(rows[1:])
	if err != nil {
		return nil, nil, err
	}
	for i, row := range rows[1:] {
		label := row[1]
		if !begins(label, words) {
			continue
		}
		values, err := numbers(row[2:], l.Mat.Rows*l.Mat.Columns)
		if err != nil {
			return nil, nil, fmt.Errorf("%s, row %d: %w", l.File, i+2, err)
		}
		for k := range values {
			values[k] = max(0, values[k]-rest[k])
		}
		maps = append(maps, Map{Values: values, Mat: l.Mat, Lies: lies(label), Subject: "PoPu", Frame: i})
		labels = append(labels, label)
	}
	return maps, labels, nil
}

// rest returns what each cell reads with nobody on it.
func (l *Layer) rest(rows [][]string) ([]float64, error) {
	rest := make([]float64, l.Mat.Rows*l.Mat.Columns)
	n := 0.0
	for _, row := range rows {
		if !begins(row[1], []string{"empty"}) {
			continue
		}
		values, err := numbers(row[2:], len(rest))
		if err != nil {
			return nil, err
		}
		n++
		for k, v := range values {
			rest[k] += (v - rest[k]) / n
		}
	}
	return rest, nil
}

func begins(label string, words []string) bool {
	for _, w := range words {
		if strings.HasPrefix(label, w) {
			return true
		}
	}
	return false
}

func lies(label string) posture.Position {
	switch {
	case strings.HasPrefix(label, "supine"):
		return posture.Supine
	case strings.HasPrefix(label, "left"):
		return posture.Left
	case strings.HasPrefix(label, "right"):
		return posture.Right
	}
	return posture.NotSure
}
