package fit

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A recording of cells in a pressure chamber: eight that live and two that are
// dead, up and down once.
type chamber struct {
	names []string
	at    []sample.Instant
	mmHg  []float64
	raw   [][]float64 // by cell
}

func readChamber(t *testing.T) chamber {
	f, err := os.Open(filepath.Join(data(t, "cell-calibration"), "calibration_10taxels.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	c := chamber{names: all[0][2:], raw: make([][]float64, len(all[0])-2)}
	for _, record := range all[1:] {
		v := make([]float64, len(record))
		for i, s := range record {
			if v[i], err = strconv.ParseFloat(s, 64); err != nil {
				t.Fatal(err)
			}
		}
		c.at = append(c.at, sample.Instant(v[0]*1e9))
		c.mmHg = append(c.mmHg, float64(sample.FromPascals(1000*v[1])))
		for i := range c.raw {
			c.raw[i] = append(c.raw[i], v[i+2])
		}
	}
	return c
}

// A window is two seconds of a steady chamber.
type window struct {
	from, to  int
	direction figures.Direction
}

// steady cuts the recording into windows of two seconds in which the chamber
// moved by less than 3 kPa, and drops the first of each level, in which the cells
// settle.
func (c chamber) steady() (out []window) {
	const n = 98
	highest, top := slices.Max(c.mmHg), 0
	for i, p := range c.mmHg {
		if p > highest-10*perKPa {
			top = i
		}
	}
	fresh := true
	for i := 0; i+n <= len(c.mmHg); i += n {
		sorted := slices.Sorted(slices.Values(c.mmHg[i : i+n]))
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
func (c chamber) rows(cell int, windows []window) (rows []figures.Row, noise float64) {
	squares, n := 0.0, 0
	for _, w := range windows {
		p, raw := 0.0, 0.0
		for i := w.from; i < w.to; i++ {
			p += c.mmHg[i] / float64(w.to-w.from)
			raw += c.raw[cell][i] / float64(w.to-w.from)
		}
		for i := w.from; i < w.to; i++ {
			squares, n = squares+(c.raw[cell][i]-raw)*(c.raw[cell][i]-raw), n+1
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

// Dead cells are refused, with the reason; a live cell's error where the fit has
// not looked is what its uncertainty says. The scatter of single readings is in
// it; that of another day is not, which is what the assumed repeatability and
// the drift are for.
func TestChamber(t *testing.T) {
	c := readChamber(t)
	fitted, kept := alternate(c.steady())
	for cell, name := range c.names {
		t.Run(name, func(t *testing.T) {
			rows, noise := c.rows(cell, fitted)
			o := Defaults()
			o.Rate = 49
			o.Noise, o.ReferenceU = noise, 0.5*perKPa // the chamber's own readings scatter by less than that
			r, err := Fit(rows, o)
			if strings.HasSuffix(name, "_dead") {
				if _, ok := errors.AsType[Refused](err); !ok || !strings.Contains(err.Error(), "does not respond: every reading is 0") {
					t.Errorf("a dead cell: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			inside, n, squares, error2 := 0, 0, 0.0, 0.0
			var m curve.Motion
			next := 0
			for i, raw := range c.raw[cell] {
				middle, _ := r.Calibration.At(raw)
				d, _ := m.Step(c.at[i], float64(middle), r.Calibration.Width)
				for next < len(kept) && kept[next].to <= i {
					next++
				}
				if next == len(kept) || i < kept[next].from {
					continue
				}
				v := r.Calibration.Value(raw, d, time.Hour)
				e := float64(v.MMHg) - c.mmHg[i]
				n, squares, error2 = n+1, squares+e*e/v.U()/v.U(), error2+e*e
				if math.Abs(e) <= 1.96*v.U() {
					inside++
				}
			}
			covered := 100 * float64(inside) / float64(n)
			t.Logf("noise %.2f counts, width %.0f", noise, r.Calibration.Width)
			said := fmt.Sprintf("%s, branches %v: error %.0f mmHg root mean square, largest u %.0f; %.1f %% of %d readings covered, error/u %.2f",
				r.Calibration.Loading.Model(), r.Calibration.Unloading != nil, math.Sqrt(error2/float64(n)), r.Figures.UHighest.MMHg, covered, n, math.Sqrt(squares/float64(n)))
			t.Log(said)
			if r.Verdict == record.Rejected { // its contact comes and goes: readings jump by a third of the range
				if name != "taxel165" {
					t.Errorf("rejected: %q", r.Remarks)
				}
				return
			}
			if name == "taxel165" {
				t.Errorf("%s, though its single readings scatter by 18 %%", r.Verdict)
			}
			if covered < 93 || math.Sqrt(squares/float64(n)) < 0.4 {
				t.Error("not honest: " + said)
			}
		})
	}
}

// What branches and the mean of four are worth on the cells in the chamber, of
// which every other two seconds were not fitted; DEVELOPERS.md has the table.
// Nothing was held for long enough to tell creep.
func TestChamberStudy(t *testing.T) {
	c := readChamber(t)
	fitted, kept := alternate(c.steady())
	four := []int{0, 1, 2, 6}
	rms := map[string]float64{}
	for _, branches := range []bool{false, true} {
		var all [][]float64 // by cell: the value at every reading
		for _, cell := range four {
			rows, noise := c.rows(cell, fitted)
			o := Defaults()
			o.Noise, o.Rate, o.Branches = noise, 49, &branches
			r, err := Fit(rows, o)
			if err != nil {
				t.Fatal(err)
			}
			values := make([]float64, len(c.at))
			var m curve.Motion
			for i, raw := range c.raw[cell] {
				middle, _ := r.Calibration.At(raw)
				d, _ := m.Step(c.at[i], float64(middle), r.Calibration.Width)
				values[i] = float64(r.Calibration.Value(raw, d, 0).MMHg)
			}
			all = append(all, values)
		}
		one, mean, n := 0.0, 0.0, 0.0
		for _, w := range kept {
			for i := w.from; i < w.to; i++ {
				sum := 0.0
				for _, v := range all {
					one += (v[i] - c.mmHg[i]) * (v[i] - c.mmHg[i]) / 4
					sum += v[i] / 4
				}
				mean += (sum - c.mmHg[i]) * (sum - c.mmHg[i])
				n++
			}
		}
		name := map[bool]string{false: "one curve", true: "branches"}[branches]
		rms[name], rms[name+", four cells"] = math.Sqrt(one/n), math.Sqrt(mean/n)
	}
	for _, name := range []string{"one curve", "branches", "one curve, four cells", "branches, four cells"} {
		t.Logf("%-24s %4.0f mmHg, %3.0f %% of the first", name, rms[name], 100*rms[name]/rms["one curve"])
	}
	if !(rms["branches"] < rms["one curve"]) || !(rms["one curve, four cells"] < rms["one curve"]) || !(rms["branches, four cells"] < rms["branches"]) {
		t.Errorf("%v", rms)
	}
}
