package table

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"weald/ingest/calib/figures"
)

// Read returns the rows of a table. Name is what the errors call it.
func Read(name string, r io.Reader) (rows []figures.Row, err error) {
	err = read(name, r, []string{"reference_mmhg", "raw"}, []string{"cycle", "direction"}, func(l *line) {
		rows = append(rows, parse(l))
	})
	if err != nil {
		return nil, err
	}
	return rows, nil
}

func parse(l *line) (r figures.Row) {
	r.Reference, r.Raw = l.number("reference_mmhg"), l.number("raw")
	if c := l.field("cycle"); c != "" {
		n, e := strconv.Atoi(c)
		if e != nil || n < 0 {
			l.bad(fmt.Errorf("cycle is %q: want a number from 1", c))
		}
		r.Cycle = n
	}
	switch d := figures.Direction(strings.ToLower(l.field("direction"))); d {
	case figures.Up, figures.Down, "":
		r.Direction = d
	default:
		l.bad(fmt.Errorf("direction is %q: want up or down", d))
	}
	return r
}

// A Held is one reading under a pressure that stays.
type Held struct {
	Age float64 // of the load, in s
	Raw float64
}

// ReadHeld returns the readings of a table of a hold, with the columns age_s and
// raw.
func ReadHeld(name string, r io.Reader) (held []Held, err error) {
	err = read(name, r, []string{"age_s", "raw"}, nil, func(l *line) {
		h := Held{Age: l.number("age_s"), Raw: l.number("raw")}
		if h.Age < 0 {
			l.bad(errors.New("age_s is below 0: it counts from when the pressure was reached"))
		}
		held = append(held, h)
	})
	if err != nil {
		return nil, err
	}
	return held, nil
}
