package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A Chamber is a recording of cells in a pressure chamber that goes up and down.
type Chamber struct {
	Names []string
	At    []sample.Instant
	MMHg  []float64
	Raw   [][]float64 // by cell

	rate float64 // a second
}

var perKPa = float64(sample.FromPascals(1000)) // mmHg

// ReadChamber reads a recording as CSV: the time in s, the pressure of the chamber
// in kPa, and the reading of each cell, with a line of names.
func ReadChamber(r io.Reader) (*Chamber, error) {
	all, err := csv.NewReader(r).ReadAll()
	switch {
	case err != nil:
		return nil, fmt.Errorf("recording of a chamber: %w", err)
	case len(all) < 3 || len(all[0]) < 3:
		return nil, errors.New("recording of a chamber: want a line of names, and lines of time in s, pressure in kPa and readings")
	}
	c := &Chamber{Names: all[0][2:], Raw: make([][]float64, len(all[0])-2)}
	for n, record := range all[1:] {
		v := make([]float64, len(record))
		for i, s := range record {
			if v[i], err = strconv.ParseFloat(strings.TrimSpace(s), 64); err != nil || math.IsNaN(v[i]) {
				return nil, fmt.Errorf("recording of a chamber: line %d: %q is no number", n+2, s)
			}
		}
		c.At = append(c.At, sample.Instant(v[0]*1e9))
		c.MMHg = append(c.MMHg, v[1]*perKPa)
		for i := range c.Raw {
			c.Raw[i] = append(c.Raw[i], v[i+2])
		}
	}
	seconds := c.At[len(c.At)-1].Sub(c.At[0]).Seconds()
	if !(seconds > 0) {
		return nil, errors.New("recording of a chamber: its time does not pass")
	}
	c.rate = float64(len(c.At)-1) / seconds
	return c, nil
}

// A window is two seconds of a steady chamber.
type window struct {
	from, to  int
	direction figures.Direction
}

// steady cuts the recording into windows of two seconds in which the chamber
// moved by less than 3 kPa, and drops the first of each level, in which the cells
// settle.
func (c *Chamber) steady() (out []window) {
	n := max(8, int(math.Round(2*c.rate)))
	highest, top := slices.Max(c.MMHg), 0
	for i, p := range c.MMHg {
		if p > highest-10*perKPa {
			top = i
		}
	}
	fresh := true
	for i := 0; i+n <= len(c.MMHg); i += n {
		sorted := slices.Sorted(slices.Values(c.MMHg[i : i+n]))
		if sorted[n-4]-sorted[3] > 3*perKPa {
			fresh = true
			continue
		}
		if !fresh {
			d := figures.Up
			if i > top {
				d = figures.Down
			}
			out = append(out, window{i, i + n, d})
		}
		fresh = false
	}
	return out
}

// rows makes a table of a cell of windows, and says how much single readings
// scatter within them.
func (c *Chamber) rows(cell int, windows []window) (rows []figures.Row, noise float64) {
	squares, n := 0.0, 0
	for _, w := range windows {
		p, raw := 0.0, 0.0
		for i := w.from; i < w.to; i++ {
			p += c.MMHg[i] / float64(w.to-w.from)
			raw += c.Raw[cell][i] / float64(w.to-w.from)
		}
		for i := w.from; i < w.to; i++ {
			squares, n = squares+(c.Raw[cell][i]-raw)*(c.Raw[cell][i]-raw), n+1
		}
		rows = append(rows, figures.Row{Cycle: 1, Direction: w.direction, Reference: p, Raw: raw})
	}
	return rows, math.Sqrt(squares / float64(n))
}

// alternate splits windows level by level in time: those that are fitted, and
// those that are kept back.
func alternate(all []window) (fitted, kept []window) {
	for i, w := range all {
		if i%2 == 0 {
			fitted = append(fitted, w)
		} else {
			kept = append(kept, w)
		}
	}
	return fitted, kept
}

// fit fits a cell on windows.
func (c *Chamber) fit(cell int, on []window, branches *bool) (*fit.Result, error) {
	rows, noise := c.rows(cell, on)
	o := fit.Defaults()
	o.Noise, o.Rate, o.Branches = noise, c.rate, branches
	o.ReferenceU = 0.5 * perKPa // the chamber's own readings scatter by less than that
	return fit.Fit(rows, o)
}

// values are those of a cell at every reading, by what was fitted.
func (c *Chamber) values(cell int, by *curve.Calibration) []curve.Value {
	out := make([]curve.Value, len(c.At))
	var m curve.Motion
	for i, raw := range c.Raw[cell] {
		middle, _ := by.At(raw)
		d, _ := m.Step(c.At[i], float64(middle), by.Width)
		out[i] = by.Value(raw, d, 0)
	}
	return out
}

// Study compares ways of handling the first four cells that can be calibrated; of
// the others it says why they cannot.
func (c *Chamber) Study() (results []Result, refused map[string]error, err error) {
	fitted, kept := alternate(c.steady())
	if len(fitted) < 8 || len(kept) < 4 {
		return nil, nil, errors.New("recording of a chamber: it stood still too seldom, for two seconds at a pressure")
	}
	results = []Result{{Way: "one curve, one cell"}, {Way: "branches"}, {Way: "one curve, four cells"}, {Way: "branches, four cells"}}
	refused = map[string]error{}
	var four []int
	for cell, name := range c.Names {
		if r, err := c.fit(cell, fitted, nil); err != nil {
			refused[name] = err
		} else if r.Verdict == record.Rejected {
			refused[name] = errors.New(strings.Join(r.Remarks, "; "))
		} else if len(four) < 4 {
			four = append(four, cell)
		}
	}
	if len(four) < 4 {
		return nil, refused, errors.New("recording of a chamber: fewer than four of its cells can be calibrated")
	}
	for way, branches := range []bool{false, true} {
		var all [][]curve.Value // by cell
		for _, cell := range four {
			r, err := c.fit(cell, fitted, &branches)
			if err != nil {
				return nil, refused, err
			}
			all = append(all, c.values(cell, &r.Calibration))
		}
		for _, w := range kept {
			for i := w.from; i < w.to; i++ {
				mean := 0.0
				for _, v := range all {
					results[way].add(float64(v[i].MMHg) - c.MMHg[i])
					mean += float64(v[i].MMHg) / float64(len(all))
				}
				results[way+2].add(mean - c.MMHg[i])
			}
		}
	}
	return finish(results), refused, nil
}
