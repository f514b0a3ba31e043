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

	"weald/ingest/calib/figures"
)

var columns = []string{"reference_mmhg", "raw", "cycle", "direction"}

// Read returns the rows of a table. Name is what the errors call it.
func Read(name string, r io.Reader) ([]figures.Row, error) {
	in := csv.NewReader(r)
	in.Comment, in.TrimLeadingSpace, in.FieldsPerRecord = '#', true, -1
	head, err := in.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("is empty")
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	where, err := header(name, head)
	if err != nil {
		return nil, err
	}
	var rows []figures.Row
	var problems []error
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errors.Join(append(problems, fmt.Errorf("%s: %w", name, err))...)
		}
		line, _ := in.FieldPos(0)
		row, err := parse(record, where, len(head))
		if err != nil {
			problems = append(problems, fmt.Errorf("%s:%d: %w", name, line, err))
			continue
		}
		rows = append(rows, row)
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: has no readings", name)
	}
	return rows, nil
}

func header(name string, head []string) (map[string]int, error) {
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
	for _, h := range columns[:2] {
		if _, ok := where[h]; !ok {
			problems = append(problems, fmt.Errorf("%s:1: column %q is missing", name, h))
		}
	}
	return where, errors.Join(problems...)
}

func parse(record []string, where map[string]int, n int) (r figures.Row, err error) {
	if len(record) != n {
		return r, fmt.Errorf("has %d fields, want %d", len(record), n)
	}
	field := func(name string) string {
		if i, ok := where[name]; ok {
			return strings.TrimSpace(record[i])
		}
		return ""
	}
	number := func(name string) float64 {
		v, e := strconv.ParseFloat(field(name), 64)
		if e != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			err = errors.Join(err, fmt.Errorf("%s is %q: want a number", name, field(name)))
		}
		return v
	}
	r.Reference, r.Raw = number("reference_mmhg"), number("raw")
	if c := field("cycle"); c != "" {
		n, e := strconv.Atoi(c)
		if e != nil || n < 0 {
			err = errors.Join(err, fmt.Errorf("cycle is %q: want a number from 1", c))
		}
		r.Cycle = n
	}
	switch d := figures.Direction(strings.ToLower(field("direction"))); d {
	case figures.Up, figures.Down, "":
		r.Direction = d
	default:
		err = errors.Join(err, fmt.Errorf("direction is %q: want up or down", d))
	}
	return r, err
}
