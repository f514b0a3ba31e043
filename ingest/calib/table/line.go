package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The bounds of a table: a day of a calibration that is led has a hundredth of it.
// Common practice, no source.
const (
	mostLines    = 500_000
	mostProblems = 100 // that are told
)

// A line of a table, of which fields are asked for by the names of their columns.
type line struct {
	fields []string
	where  map[string]int
	err    error // everything that was bad
}

func (l *line) bad(err error) { l.err = errors.Join(l.err, err) }

func (l *line) field(name string) string {
	if i, ok := l.where[name]; ok {
		return strings.TrimSpace(l.fields[i])
	}
	return ""
}

func (l *line) number(name string) float64 {
	v, err := strconv.ParseFloat(l.field(name), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		l.bad(fmt.Errorf("%s is %q: want a number", name, l.field(name)))
	}
	return v
}

// read hands every line of a table to take, and returns all that was bad.
func read(name string, r io.Reader, needed, optional []string, take func(*line)) error {
	in := csv.NewReader(r)
	in.Comment, in.TrimLeadingSpace, in.FieldsPerRecord = '#', true, -1
	head, err := in.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("is empty")
		}
		return fmt.Errorf("%s: %w", name, err)
	}
	where, err := header(name, head, needed, optional)
	if err != nil {
		return err
	}
	var problems []error
	lines := 0
	for {
		fields, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(append(problems, fmt.Errorf("%s: %w", name, err))...)
		}
		l := line{fields: fields, where: where}
		if len(fields) != len(head) {
			l.bad(fmt.Errorf("has %d fields, want %d", len(fields), len(head)))
		} else {
			take(&l)
		}
		if lines++; l.err != nil {
			n, _ := in.FieldPos(0)
			if len(problems) == mostProblems {
				return errors.Join(append(problems, fmt.Errorf("%s: has more than %d bad lines; the others were not read", name, mostProblems))...)
			}
			problems = append(problems, fmt.Errorf("%s:%d: %w", name, n, l.err))
		}
		if lines > mostLines {
			return fmt.Errorf("%s: has more than %d lines", name, mostLines)
		}
	}
	if lines == 0 {
		problems = append(problems, fmt.Errorf("%s: has no readings", name))
	}
	return errors.Join(problems...)
}

func header(name string, head, needed, optional []string) (map[string]int, error) {
	columns := slices.Concat(needed, optional)
	where := map[string]int{}
	var problems []error
	for i, h := range head {
		h = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
		switch {
		case strings.HasSuffix(h, "kpa"):
			problems = append(problems, fmt.Errorf("%s:1: column %q is in kPa: multiply it by 7.50062 and call it reference_mmhg", name, h))
		case !slices.Contains(columns, h):
			problems = append(problems, fmt.Errorf("%s:1: column %q is not known: want %s", name, h, strings.Join(columns, ", ")))
		}
		if _, twice := where[h]; twice {
			problems = append(problems, fmt.Errorf("%s:1: column %q is there twice", name, h))
		}
		where[h] = i
	}
	for _, h := range needed {
		if _, ok := where[h]; !ok {
			problems = append(problems, fmt.Errorf("%s:1: column %q is missing", name, h))
		}
	}
	return where, errors.Join(problems...)
}
