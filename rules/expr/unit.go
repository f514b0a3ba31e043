package expr

import (
	"strconv"
	"strings"

	"weald/ingest/sample"
)

// A dim is a kind of quantity: the exponents of pressure, length and time. A
// force is a pressure times an area.
type dim struct{ pressure, length, time int }

var (
	plain    = dim{}
	pressure = dim{pressure: 1}
	length   = dim{length: 1}
	area     = dim{length: 2}
	duration = dim{time: 1}
	force    = dim{pressure: 1, length: 2}
)

func (d dim) times(e dim) dim {
	return dim{d.pressure + e.pressure, d.length + e.length, d.time + e.time}
}

func (d dim) over(e dim) dim {
	return dim{d.pressure - e.pressure, d.length - e.length, d.time - e.time}
}

// String returns "a pressure" and the like, to follow "is".
func (d dim) String() string {
	switch d {
	case plain:
		return "a plain number"
	case pressure:
		return "a pressure"
	case length:
		return "a length"
	case area:
		return "an area"
	case duration:
		return "a time"
	case force:
		return "a force"
	}
	var over, under []string
	for _, f := range []struct {
		name string
		n    int
	}{{"pressure", d.pressure}, {"length", d.length}, {"time", d.time}} {
		power := f.name
		if f.n > 1 || f.n < -1 {
			power += "^" + strconv.Itoa(max(f.n, -f.n))
		}
		switch {
		case f.n > 0:
			over = append(over, power)
		case f.n < 0:
			under = append(under, power)
		}
	}
	text := "a quantity of " + strings.Join(over, " × ")
	if len(over) == 0 {
		text += "1"
	}
	for _, p := range under {
		text += " / " + p
	}
	return text
}

// A unit is a name for an amount of a quantity. The amount is num/den in the
// base units mmHg, mm and ms; they are such that the common factors are whole,
// so that 3 mm are 0.3 cm and not its neighbour.
type unit struct {
	name     string
	dim      dim
	num, den float64
}

var (
	one     = &unit{"1", plain, 1, 1}
	percent = &unit{"%", plain, 1, 100}

	// units has every unit that can be written, in the order of messages.
	units = []*unit{
		{"mmHg", pressure, 1, 1},
		{"kPa", pressure, float64(sample.FromPascals(1000)), 1},
		{"Pa", pressure, float64(sample.FromPascals(1)), 1},
		{"ms", duration, 1, 1},
		{"s", duration, 1000, 1},
		{"min", duration, 60_000, 1},
		{"h", duration, 3_600_000, 1},
		{"mm", length, 1, 1},
		{"cm", length, 10, 1},
		{"m", length, 1000, 1},
		{"mm2", area, 1, 1},
		{"cm2", area, 100, 1},
		{"N", force, float64(sample.FromPascals(1e6)), 1},
		percent,
	}
)

// signalUnits has the units that signals may have and nobody can write: what is
// compared with such a signal is a bare number, or a quotient such as 5 mmHg / 1 h.
var signalUnits = []*unit{
	{"Hz", dim{time: -1}, 1, 1000},
	{"mmHg/h", dim{pressure: 1, time: -1}, 1, 3_600_000},
	{"mmHg/cm", dim{pressure: 1, length: -1}, 1, 10},
}

// unitOfSignal returns the unit of that name, or nil.
func unitOfSignal(name string) *unit {
	for _, u := range signalUnits {
		if u.name == name {
			return u
		}
	}
	return unitNamed(name)
}

// unitNamed returns the unit so written, or nil.
func unitNamed(name string) *unit {
	for _, u := range units {
		if u.name == name {
			return u
		}
	}
	return nil
}

// unitNames lists all units.
func unitNames() string {
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = u.name
	}
	return strings.Join(names, ", ")
}

// unitLike returns the unit that differs from name in nothing but the size of
// its letters or a raised 2, or nil.
func unitLike(name string) *unit {
	name = strings.Replace(name, "²", "2", 1)
	for _, u := range units {
		if strings.EqualFold(u.name, name) {
			return u
		}
	}
	return nil
}
