package fit

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
)

// cycles makes a table of a response, by cycles up and down in steps of 10.
func cycles(n int, response func(cycle int, mmHg float64, d figures.Direction) float64) (rows []figures.Row) {
	for c := 1; c <= n; c++ {
		for p := 0.0; p <= 100; p += 10 {
			rows = append(rows, figures.Row{Cycle: c, Direction: figures.Up, Reference: p, Raw: response(c, p, figures.Up)})
		}
		for p := 90.0; p >= 0; p -= 10 {
			rows = append(rows, figures.Row{Cycle: c, Direction: figures.Down, Reference: p, Raw: response(c, p, figures.Down)})
		}
	}
	return rows
}

func wobble(c int, p float64) float64 { return 0.3 * math.Sin(37*p+11*float64(c)) }

// Each kind of sensor gets its kind of model.
func TestChoice(t *testing.T) {
	for _, c := range []struct {
		name     string
		response func(c int, p float64, d figures.Direction) float64
		model    curve.Model
		branches bool
	}{
		{"straight", func(c int, p float64, _ figures.Direction) float64 { return 100 + 8*p + 3*wobble(c, p) }, curve.Line, false},
		{"falling", func(c int, p float64, _ figures.Direction) float64 { return 3000 - 8*p + 3*wobble(c, p) }, curve.Line, false},
		{"power", func(c int, p float64, _ figures.Direction) float64 { return 100 + 40*math.Pow(p, 0.7) + wobble(c, p) }, curve.Power, false},
		{"odd", func(c int, p float64, _ figures.Direction) float64 {
			return 100 + 8*p + 60*math.Tanh((p-45)/12) + wobble(c, p)
		}, curve.Monotone, false},
		{"loop", func(c int, p float64, d figures.Direction) float64 {
			v := 100 + 8*p + 3*wobble(c, p)
			if d == figures.Down {
				v += 40 * math.Sin(math.Pi*p/100)
			}
			return v
		}, curve.Quadratic, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := Fit(cycles(3, c.response), Defaults())
			if err != nil {
				t.Fatal(err)
			}
			if got := r.Calibration.Loading.Model(); got != c.model && c.name != "loop" {
				t.Errorf("%s was chosen, want %s: %s", got, c.model, errorsOf(r))
			}
			if got := r.Calibration.Unloading != nil; got != c.branches {
				t.Errorf("branches: %v, want %v: %s", got, c.branches, errorsOf(r))
			}
			if len(r.Candidates) != 8 {
				t.Errorf("%d candidates shown, want four models with and without branches", len(r.Candidates))
			}
		})
	}
}

func errorsOf(r *Result) string {
	var b strings.Builder
	for _, c := range r.Candidates {
		b.WriteString(string(c.Model))
		if c.Branches {
			b.WriteString("+branches")
		}
		if c.Error != nil {
			b.WriteString(fmt.Sprintf(" %.3g", *c.Error))
		}
		b.WriteString(c.Note + "; ")
	}
	return b.String()
}

func plain(raw ...float64) (rows []figures.Row) {
	for i, v := range raw {
		rows = append(rows, figures.Row{Cycle: 1, Reference: 20 * float64(i), Raw: v})
	}
	return rows
}

func TestRefusals(t *testing.T) {
	kPa := plain(0, 100, 200, 300, 400, 500)
	for i := range kPa {
		kPa[i].Reference /= PerKPa
	}
	one := plain(0, 100, 200, 300, 400, 500)
	one[4].Reference /= PerKPa
	short := plain(0, 100, 200, 300, 400, 500)
	for i := range short {
		short[i].Reference /= 40
	}
	for _, c := range []struct {
		name string
		rows []figures.Row
		rail float64
		says string
	}{
		{"too few levels", plain(0, 100, 200), 0, "3 levels of pressure"},
		{"not monotone", plain(0, 100, 200, 150, 300, 400), 0, "at 60 mmHg they turn back"},
		{"there and back", plain(0, 100, 200, 300, 200, 100, 10), 0, "turn back"},
		{"at the rail", plain(0, 1000, 2000, 3000, 4095, 4095), 4095, "saturated at 80 mmHg: it reads 4095"},
		{"flat at the top", plain(0, 1000, 2000, 3000, 3900, 3910, 3911), 0, "saturated at 80 mmHg: above it the reading hardly changes"},
		{"dead", plain(0, 0, 0, 0, 0), 0, "does not respond: every reading is 0"},
		{"all in kPa", kPa, 0, "if they were kPa"},
		{"one in kPa", one, 0, "row 5 says 10.67 mmHg where its reading says about 80"},
		{"short", short, 0, "span 2.5 mmHg, less than 30"},
		{"nothing", nil, 0, "0 levels"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := Defaults()
			o.Rail = c.rail
			_, err := Fit(c.rows, o)
			refused, ok := errors.AsType[Refused](err)
			if !ok || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("error %v, want a refusal that says %q", err, c.says)
			}
			for _, r := range refused {
				if r.Advice == "" {
					t.Errorf("%q says not what to do", r.Reason)
				}
			}
		})
	}
	if _, err := Fit(plain(0, 100, 200, 300, 400, 500), Defaults()); err != nil {
		t.Errorf("an orderly table: %v", err)
	}
}

func TestUnstable(t *testing.T) {
	if r := Unstable(40, 10, 1000); r != nil {
		t.Errorf("1 %% of full scale is refused: %v", r)
	}
	if r := Unstable(40, -30, 1000); r == nil || !strings.Contains(r.Error(), "moved by 3.0 %") {
		t.Errorf("3 %% of full scale: %v", r)
	}
}

func TestSwapped(t *testing.T) {
	cuff := []float64{0, 10, 20, 30, 40, 30, 20, 10, 0}
	scaled := func(a, b float64) (out []float64) {
		for i, p := range cuff {
			out = append(out, a+b*p+wobble(i, p))
		}
		return out
	}
	idle := scaled(100, 0)
	got := Swapped(cuff, [][]float64{scaled(0, 8), idle, scaled(50, -6)}, []bool{true, true, false})
	if len(got) != 1 || !strings.Contains(got[1].Reason, "channel 1 does not follow") || !strings.Contains(got[1].Reason, "channel 2") {
		t.Errorf("channel 1 and 2 are swapped: %v", got)
	}
	if got := Swapped(cuff, [][]float64{scaled(0, 8), scaled(50, -6), idle}, []bool{true, true, false}); len(got) != 0 {
		t.Errorf("nothing is swapped: %v", got)
	}
}

func TestAcceptance(t *testing.T) {
	for _, c := range []struct {
		shift float64 // of the second of two cycles, in % of full scale
		want  record.Verdict
	}{{2, record.Accepted}, {6, record.Warned}, {16, record.Rejected}} {
		rows := cycles(2, func(cycle int, p float64, _ figures.Direction) float64 { return 8*p + float64(cycle-1)*8*c.shift })
		r, err := Fit(rows, Defaults())
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict != c.want {
			t.Errorf("shifted by %v %%: %s (%v), want %s", c.shift, r.Verdict, r.Remarks, c.want)
		}
		o := Defaults()
		o.Warn, o.Reject = 20, 30
		if r, _ := Fit(rows, o); r.Verdict != record.Accepted {
			t.Errorf("with limits of 20 and 30 %%, shifted by %v %%: %s", c.shift, r.Verdict)
		}
	}
}

// Equal tables give equal calibrations, to the byte: a record's identity hangs on
// it.
func TestDeterminism(t *testing.T) {
	rows := cycles(3, func(c int, p float64, d figures.Direction) float64 {
		v := 100 + 40*math.Pow(p, 0.8) + wobble(c, p)
		if d == figures.Down {
			v += 20
		}
		return v
	})
	encoded := func() string {
		r, err := Fit(rows, Defaults())
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	first := encoded()
	for range 5 {
		if again := encoded(); again != first {
			t.Fatalf("the same table gave\n%s\nand\n%s", first, again)
		}
	}
}

// What the curve says of an unloaded sensor is its zero error, whichever way the
// counts go.
func TestZeroError(t *testing.T) {
	for _, gain := range []float64{8, -8} {
		rows := cycles(2, func(_ int, p float64, _ figures.Direction) float64 {
			if p == 0 {
				p = 3 // lies on the foot of its range
			}
			return 2000 + gain*p
		})
		o := Defaults()
		o.Model = curve.Line
		r, err := Fit(rows, o)
		if err != nil {
			t.Fatal(err)
		}
		if z := r.Figures.Zero; z.At != 0 || z.MMHg < 1.5 || z.MMHg > 3 {
			t.Errorf("gain %v: zero error is %+v, want most of 3 mmHg at 0", gain, *z)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	rows := cycles(3, func(c int, p float64, _ figures.Direction) float64 { return 100 + 40*math.Pow(p, 0.8) + wobble(c, p) })
	for b.Loop() {
		if _, err := Fit(rows, Defaults()); err != nil {
			b.Fatal(err)
		}
	}
}

// A cycle that broke off halfway down has no unloading curve: it would know nothing
// of low pressures, and a sensor at rest is read by the middle of both curves. One
// that ended a step above the bottom has.
func TestBrokenOff(t *testing.T) {
	whole := cycles(1, func(_ int, p float64, d figures.Direction) float64 {
		if d == figures.Down {
			return 100 + 8*p + 40*math.Sin(math.Pi*p/100)
		}
		return 100 + 8*p
	})
	for _, c := range []struct {
		rows     int
		branches bool
	}{{21, true}, {20, true}, {16, false}} {
		r, err := Fit(whole[:c.rows], Defaults())
		if err != nil {
			t.Fatal(err)
		}
		if got := r.Calibration.Unloading != nil; got != c.branches {
			t.Errorf("%d readings: branches %v", c.rows, got)
		}
		if v := r.Calibration.Value(180, curve.Still, 0); math.Abs(float64(v.MMHg)-10) > 1.96*v.U() {
			t.Errorf("%d readings: at rest 180 counts are %.1f mmHg, u %.1f, want 10", c.rows, v.MMHg, v.U())
		}
		noted := false
		for _, tried := range r.Candidates {
			noted = noted || strings.Contains(tried.Note, "unloading was not read over the whole range")
		}
		if noted == c.branches {
			t.Errorf("%d readings: candidates %+v", c.rows, r.Candidates)
		}
	}
}
