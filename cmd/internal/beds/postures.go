package beds

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"sort"
	"strconv"
	"strings"

	"weald/rules/posture"
)

// A Map is one frame of a mat with what is known of it.
type Map struct {
	Values  []float64 // row by row; NaN unknown
	Mat     posture.Mat
	Lies    posture.Position
	Subject string
	File    int // of the subject, from 1; in the PoPu set 0
	Frame   int // of the file, from 0
}

// Trusted is the first frame of a recording that is not damaged: frames 0 and 1
// are in every file, and 2 in some.
const Trusted = 3

// Files is how many recordings there are of a subject.
const Files = 17

// PosturesMat is the mat of the recordings of subjects. It is seen as from
// below: on its maps those who lie on the right side look to the right. Its
// pitch is not stated; this one is an estimate from the people's height.
func PosturesMat() posture.Mat {
	return posture.Mat{Rows: 64, Columns: 32, PitchMM: [2]float64{28, 25}, FromBelow: true}
}

// liesIn says how the person of a file lies, by the description of the set.
func liesIn(file int) posture.Position {
	switch file {
	case 2, 4, 5, 13:
		return posture.Right
	case 3, 6, 7, 14:
		return posture.Left
	}
	return posture.Supine
}

// Subjects returns the names of the subjects in a folder of recordings.
func Subjects(dir fs.FS) ([]string, error) {
	entries, err := fs.ReadDir(dir, ".")
	var out []string
	for _, e := range entries {
		if e.IsDir() && strings.HasPrefix(e.Name(), "S") {
			out = append(out, e.Name())
		}
	}
	sort.Strings(out)
	if err == nil && len(out) == 0 {
		err = errors.New("no folder of a subject (S1, S2, …) in it")
	}
	return out, err
}

// Recording returns every frame of one file of one subject, the damaged ones
// too.
func Recording(dir fs.FS, subject string, file int) ([]Map, error) {
	return framesOf(dir, subject, file, 0, 1)
}

// framesOf returns every step-th frame of a file, from one on; the others are counted
// and not read, which is most of the work.
func framesOf(dir fs.FS, subject string, file, from, step int) ([]Map, error) {
	name := fmt.Sprintf("%s/%d.txt", subject, file)
	f, err := dir.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	mat := PosturesMat()
	var out []Map
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 1<<20)
	for frame := 0; lines.Scan(); {
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		if frame >= from && (frame-from)%step == 0 {
			values, err := numbers(strings.Fields(lines.Text()), mat.Rows*mat.Columns)
			if err != nil {
				return nil, fmt.Errorf("%s, frame %d: %w", name, frame, err)
			}
			out = append(out, Map{Values: values, Mat: mat, Lies: liesIn(file), Subject: subject, File: file, Frame: frame})
		}
		frame++
	}
	return out, lines.Err()
}

// numbers reads a row.
func numbers(words []string, n int) ([]float64, error) {
	if len(words) != n {
		return nil, fmt.Errorf("%d cells rather than %d", len(words), n)
	}
	out := make([]float64, n)
	for i, w := range words {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			return nil, err
		}
		out[i] = v
	}
	return out, nil
}

// Postures returns every step-th frame of every recording of a subject, from
// the first one that is not damaged.
func Postures(dir fs.FS, subject string, step int) ([]Map, error) {
	var out []Map
	for file := 1; file <= Files; file++ {
		frames, err := framesOf(dir, subject, file, Trusted, step)
		if err != nil {
			return nil, err
		}
		out = append(out, frames...)
	}
	return out, nil
}
