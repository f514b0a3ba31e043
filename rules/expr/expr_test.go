package expr

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"testing"

	"weald/ingest/sample"
)

// A place has signals for tests.
type place struct {
	signals map[string]Signal
	names   []string
}

func newPlace(signals map[string]Signal) place {
	p := place{signals: signals}
	for name := range signals {
		p.names = append(p.names, name)
	}
	sort.Strings(p.names)
	return p
}

func (p place) resolve(name string) (Signal, bool) {
	s, ok := p.signals[name]
	return s, ok
}

// The slots of ward's numbers.
const (
	ankle = iota
	calf
	cuff
	peak
	surface
	load
	width
	held
	share
	wet
	settling
	stride
	steep
	numbers
)

// ward has a signal of each kind of unit, and two conditions.
var ward = newPlace(map[string]Signal{
	"ankle.pressure": {Slot: ankle, Unit: "mmHg"},
	"calf.pressure":  {Slot: calf, Unit: "mmHg"},
	"cuff.pressure":  {Slot: cuff, Unit: "kPa"},
	"mat.peak":       {Slot: peak, Unit: "mmHg"},
	"mat.area":       {Slot: surface, Unit: "cm2"},
	"mat.load":       {Slot: load, Unit: "N"},
	"mat.width":      {Slot: width, Unit: "mm"},
	"hold.time":      {Slot: held, Unit: "min"},
	"mat.share":      {Slot: share, Unit: "1"},
	"room.humidity":  {Slot: wet, Unit: "%"},
	"ankle.settling": {Slot: settling, Unit: "mmHg/h"},
	"limb.stride":    {Slot: stride, Unit: "Hz"},
	"mat.gradient":   {Slot: steep, Unit: "mmHg/cm"},
	"still":          {Slot: 0, Truth: true},
	"wrapped":        {Slot: 1, Truth: true},
	"odd.unit":       {Slot: 0, Unit: "furlong"},
})

func compile(t testing.TB, p place, text string) *Program {
	t.Helper()
	program, problems := Compile(text, p.resolve, p.names)
	if len(problems) > 0 {
		t.Fatalf("%q: %v", text, problems)
	}
	return program
}

// readings is ward on an ordinary day.
func readings() ([]float64, []sample.Truth) {
	v := make([]float64, numbers)
	v[ankle], v[calf], v[cuff], v[peak] = 40, 20, 4, 60
	v[surface], v[load], v[width], v[held], v[share], v[wet] = 1000, 500, 900, 30, 0.25, 45
	v[settling], v[stride], v[steep] = -3, 0.9, 28
	return v, []sample.Truth{sample.Yes, sample.No}
}

func TestEval(t *testing.T) {
	for _, c := range []struct {
		text string
		want sample.Truth
	}{
		{"true", sample.Yes},
		{"false", sample.No},
		{"still", sample.Yes},
		{"not still", sample.No},
		{"!wrapped", sample.Yes},
		{"still and wrapped", sample.No},
		{"still && not wrapped", sample.Yes},
		{"wrapped or still", sample.Yes},
		{"wrapped || wrapped", sample.No},
		{"still == wrapped", sample.No},
		{"still != wrapped", sample.Yes},
		{"still == (calf.pressure < 30)", sample.Yes},
		{"true or true and false", sample.Yes},
		{"(true or true) and false", sample.No},
		{"not ankle.pressure > 30", sample.No},
		{"not still or still", sample.Yes},

		{"ankle.pressure > 40", sample.No},
		{"ankle.pressure >= 40", sample.Yes},
		{"ankle.pressure < 40", sample.No},
		{"ankle.pressure <= 40", sample.Yes},
		{"40 < ankle.pressure", sample.No},
		{"40 <= ankle.pressure", sample.Yes},
		{"39.5 < ankle.pressure", sample.Yes},
		{"40 > ankle.pressure", sample.No},
		{"ankle.pressure > calf.pressure", sample.Yes},
		{"ankle.pressure - calf.pressure > 10 mmHg and still", sample.Yes},
		{"ankle.pressure - calf.pressure - 10 > 10", sample.No},
		{"ankle.pressure - (calf.pressure - 10) > 10", sample.Yes},
		{"ankle.pressure + calf.pressure * 2 >= 80", sample.Yes},
		{"120 / 2 / 3 >= 20", sample.Yes},
		{"2 * 3 * 4 + 5 - 6 >= 23", sample.Yes},
		{"4-2 >= 2 and 4 -2 <= 2", sample.Yes},
		{"-ankle.pressure < -39", sample.Yes},
		{"- -ankle.pressure > 0", sample.Yes},
		{"abs(calf.pressure - ankle.pressure) >= 20", sample.Yes},
		{"abs(-3) <= 3 and abs(3) >= 3", sample.Yes},
		{"max(ankle.pressure, calf.pressure, 30) >= 40", sample.Yes},
		{"min(ankle.pressure, calf.pressure, 30) <= 20", sample.Yes},
		{"max(1, 2, 3) - min(1, 2, 3) >= 2", sample.Yes},
		{"1.5e2 > 149 and 1E-3 < 0.01 and 2e+0 < 3", sample.Yes},

		{"known(ankle.pressure)", sample.Yes},
		{"known(still)", sample.Yes},
		{"known(5)", sample.Yes},
		{"known(ankle.pressure / (calf.pressure - 20))", sample.No},
		{"known(ankle.pressure > 30 or still)", sample.Yes},
	} {
		v, truths := readings()
		if got := compile(t, ward, c.text).Eval(v, truths); got != c.want {
			t.Errorf("%s: %v, want %v", c.text, got, c.want)
		}
	}
}

func TestUnknown(t *testing.T) {
	const yes, no, maybe = sample.Yes, sample.No, sample.Maybe
	v := []float64{ankle: math.NaN(), calf: 20, cuff: math.Inf(1), peak: math.Inf(-1), numbers - 1: 0}
	truths := []sample.Truth{maybe, yes}
	for _, c := range []struct {
		text string
		want sample.Truth
	}{
		{"ankle.pressure > 30", maybe},
		{"ankle.pressure <= 30", maybe},
		{"30 < ankle.pressure", maybe},
		{"not ankle.pressure > 30", maybe},
		{"ankle.pressure > ankle.pressure", maybe},
		{"ankle.pressure - ankle.pressure < 1", maybe},
		{"ankle.pressure * 0 < 1", maybe},
		{"-ankle.pressure < 0", maybe},
		{"abs(ankle.pressure) >= 0", maybe},
		{"max(calf.pressure, ankle.pressure) > 10", maybe},
		{"min(ankle.pressure, calf.pressure) < 30", maybe},
		{"still", maybe},
		{"not still", maybe},
		{"still == wrapped", maybe},
		{"still != still", maybe},

		{"still and wrapped", maybe},
		{"wrapped and still", maybe},
		{"still and false", no},
		{"false and still", no},
		{"still or true", yes},
		{"true or still", yes},
		{"still or false", maybe},
		{"ankle.pressure > 30 or calf.pressure >= 20", yes},
		{"ankle.pressure > 30 and calf.pressure > 20", no},

		{"known(ankle.pressure)", no},
		{"known(calf.pressure)", yes},
		{"known(still)", no},
		{"not known(still or wrapped)", no},
		{"known(ankle.pressure > 30)", no},
		{"known(ankle.pressure) and ankle.pressure > 30", no},

		// An infinity that was handed in, and those that would arise here.
		{"cuff.pressure > 1", maybe},
		{"known(cuff.pressure)", no},
		{"cuff.pressure - cuff.pressure < 1", maybe},
		{"mat.peak - calf.pressure < 1", maybe},
		{"calf.pressure / cuff.pressure < 1", maybe},
		{"calf.pressure * 1e308 > 1", maybe},
		{"-calf.pressure * 1e308 < 1", maybe},
		{"calf.pressure / (calf.pressure - 20) > 1", maybe},
		{"(calf.pressure - 20) / (calf.pressure - 20) > 1", maybe},
	} {
		if got := compile(t, ward, c.text).Eval(v, truths); got != c.want {
			t.Errorf("%s: %v, want %v", c.text, got, c.want)
		}
	}
}

func TestUnits(t *testing.T) {
	for _, c := range []struct {
		text        string
		slot        int
		no, yes     float64 // neighbours round the limit, in the signal's unit
		description string
	}{
		{"ankle.pressure > 4 kPa", ankle, 30.0024, 30.0025, "a constant goes to the signal's unit"},
		{"4000 Pa < ankle.pressure", ankle, 30.0024, 30.0025, "on either side"},
		{"cuff.pressure > 4", cuff, 4, 4.0001, "no unit is the signal's unit"},
		{"cuff.pressure > 30 mmHg", cuff, 3.9996, 3.9997, ""},
		{"2 * cuff.pressure + 1 > 9", cuff, 4, 4.0001, "multiples stay in the signal's unit"},
		{"abs(cuff.pressure) / 2 > 2", cuff, 4, 4.0001, ""},
		{"max(cuff.pressure, 1) > 4", cuff, 4, 4.0001, ""},
		{"cuff.pressure > calf.pressure", cuff, 2.6664, 2.6665, "signals in different units"},
		{"calf.pressure < cuff.pressure", cuff, 2.6664, 2.6665, ""},
		{"cuff.pressure - calf.pressure > 30 mmHg", cuff, 6.6661, 6.6662, ""},
		{"hold.time > 1800 s", held, 30, 30.0001, ""},
		{"hold.time > 0.5 h + 6 s", held, 30.1, 30.1001, ""},
		{"hold.time > 90000 ms", held, 1.5, 1.5001, ""},
		{"mat.width > 30 cm + 5 mm", width, 305, 305.0001, ""},
		{"mat.width > 0.9 m", width, 900, 900.0001, ""},
		{"mat.area > 5000 mm2", surface, 50, 50.0001, ""},
		{"mat.area > 10 cm * 20 cm", surface, 200, 200.0001, "products make new kinds"},
		{"mat.share > 20 %", share, 0.2, 0.2001, "percent is a factor"},
		{"mat.share > 1 - 80%", share, 0.1999, 0.2001, ""},
		{"mat.share > 20", share, 20, 20.0001, ""},
		{"room.humidity > 40 %", wet, 40, 40.0001, "a signal in percent"},
		{"room.humidity / 100 % > 0.4", wet, 40, 40.0001, "which can be made plain"},
		{"room.humidity > mat.share", wet, 25, 25.0001, ""},
		{"mat.load > 500", load, 500, 500.0001, ""},
		{"mat.load / mat.area > 5 kPa", load, 500, 500.0001, "N/cm2 is a pressure"},
		{"mat.load > mat.area * 5 kPa", load, 500, 500.0001, ""},
		{"mat.load / 50 % > 1000 N", load, 500, 500.0001, ""},
		{"ankle.pressure / calf.pressure > 150 %", ankle, 30, 30.0001, ""},
		{"ankle.pressure / hold.time > 1 mmHg / 60 s", ankle, 30, 30.0001, ""},
		{"1 / hold.time < 1 / 30 min", held, 30, 30.0001, ""},
		{"ankle.pressure * mat.share > 10 mmHg", ankle, 40, 40.0001, ""},
		{"50 % * ankle.pressure + 5 > 10 %* 250 mmHg", ankle, 40, 40.0001, ""},
	} {
		p := compile(t, ward, c.text)
		for _, side := range []struct {
			value float64
			want  sample.Truth
		}{{c.no, sample.No}, {c.yes, sample.Yes}} {
			v, truths := readings()
			v[c.slot] = side.value
			if got := p.Eval(v, truths); got != side.want {
				t.Errorf("%s at %v: %v, want %v (%s)", c.text, side.value, got, side.want, c.description)
			}
		}
	}
}

// TestMillimetresStayExact guards the base units: a constant converted by a
// whole factor is the number that a person would have written.
func TestMillimetresStayExact(t *testing.T) {
	p := newPlace(map[string]Signal{"gap.length": {Unit: "cm"}, "gap.part": {Slot: 1, Unit: "%"}, "gap.time": {Slot: 2, Unit: "h"}})
	for i := range 1000 {
		n := float64(i)
		program := compile(t, p, fmt.Sprintf("gap.length >= %d mm and gap.length <= %d mm and gap.part >= %d %% and gap.part <= %d %% and gap.time >= %d min and gap.time <= %d min", i, i, i, i, i, i))
		if got := program.Eval([]float64{n / 10, n, n / 60}, nil); got != sample.Yes {
			t.Fatalf("%s: %v", program, got)
		}
	}
}

func TestNames(t *testing.T) {
	p := newPlace(map[string]Signal{
		"a-b": {Slot: 0, Unit: "1"}, "a": {Slot: 1, Unit: "1"}, "b": {Slot: 2, Unit: "1"}, "-b": {Slot: 3, Unit: "1"}, "a-": {Slot: 4, Unit: "1"},
		"2nd-toe.pressure": {Slot: 5, Unit: "1"}, "4-2.x": {Slot: 6, Unit: "1"}, "s": {Slot: 7, Unit: "1"}, "not_this": {Slot: 8, Unit: "1"},
		"min": {Slot: 9, Unit: "1"}, "1.5.x": {Slot: 10, Unit: "1"},
	})
	for text, want := range map[string][]int{
		"a-b > 1":                   {0},
		"a - b > 1":                 {1, 2},
		"a -b > 1":                  {1, 2},
		"a- > 1":                    {4},
		"a- - b > 1":                {2, 4},
		"-b > 1":                    {2},
		"2nd-toe.pressure > 1":      {5},
		"3*2nd-toe.pressure > 1":    {5},
		"4-2.x > 1":                 {6},
		"4-2 > 1":                   {},
		"1.5.x > 1":                 {10},
		"s > 1":                     {7},
		"not_this > 1":              {8},
		"not not_this > 1":          {8},
		"min > 1 and min(min, a)>0": {1, 9},
		"s + a + s > b":             {1, 2, 7},
	} {
		if got := compile(t, p, text).Values(); !slices.Equal(got, want) {
			t.Errorf("%s: slots %v, want %v", text, got, want)
		}
	}
}

func TestSlots(t *testing.T) {
	p := compile(t, ward, "wrapped and (calf.pressure > 3 or not still) and known(ankle.pressure) and wrapped and calf.pressure < 60")
	if got, want := p.Values(), []int{ankle, calf}; !slices.Equal(got, want) {
		t.Errorf("values %v, want %v", got, want)
	}
	if got, want := p.Truths(), []int{0, 1}; !slices.Equal(got, want) {
		t.Errorf("truths %v, want %v", got, want)
	}
}

func TestFormat(t *testing.T) {
	for text, want := range map[string]string{
		" still\n\t&&!wrapped ":          "still and not wrapped",
		"((a)) ||(b and c)":              "a or b and c",
		"(a or b)and c":                  "(a or b) and c",
		"not (a or b)":                   "not (a or b)",
		"not (x > 1)":                    "not x > 1",
		"(not a) == !!b or c":            "",
		"(not a) == (!!b) or c":          "(not a) == (not not b) or c",
		"a and (b and c)":                "a and (b and c)",
		"(x+y)-z>(x -(y - z))":           "x + y - z > x - (y - z)",
		"x/(y*z)*-(x+1)<- - -2":          "x / (y * z) * -(x + 1) < - - -2",
		"30mmHg<x and y>=20%":            "30 mmHg < x and y >= 20 %",
		"max( x,min(y ,(z)) )>0000.500s": "max(x, min(y, z)) > 0.5 s",
		"x > 1e20 or x < 1e-9":           "x > 1e+20 or x < 1e-09",
		"x > 1000000 h":                  "x > 1000000 h",
		"((x < y) == (z > y)) == true":   "((x < y) == (z > y)) == true",
		"known(x>1 or false)":            "known(x > 1 or false)",
	} {
		got, problems := formatted(text)
		if got != want || (want == "") != (len(problems) > 0) {
			t.Errorf("%s: %q %v, want %q", text, got, problems, want)
		}
	}
	if got, want := compile(t, ward, "still&&calf.pressure>3").String(), "still and calf.pressure > 3"; got != want {
		t.Errorf("String() = %q, want %q", got, want)
	}
}
