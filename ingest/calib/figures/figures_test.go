package figures

import (
	"testing"

	"weald/ingest/near"
)

// Worked is the synthetic example: one cycle, up and down, full scale 100.
func worked() (rows []Row) {
	up := []float64{0, 9.2, 18.9, 28.8, 39.0, 49.2, 59.5, 69.7, 79.9, 90.0, 100.0}
	down := []float64{1.0, 11.4, 21.6, 31.6, 41.5, 51.4, 61.2, 70.9, 80.6, 90.3, 100.0}
	for i, v := range up {
		rows = append(rows, Row{Cycle: 1, Direction: Up, Reference: float64(10 * i), Raw: v})
	}
	for i := range down {
		j := len(down) - 1 - i
		rows = append(rows, Row{Cycle: 1, Direction: Down, Reference: float64(10 * j), Raw: down[j]})
	}
	return rows
}

func TestWorkedExample(t *testing.T) {
	f := Of(worked())
	near.To(t, "hysteresis", f.Hysteresis.Percent, 2.8, 1e-9)
	near.To(t, "hysteresis at", f.Hysteresis.At, 30, 0)
	near.To(t, "terminal linearity", f.Terminal.Percent, 1.2, 1e-9)
	near.To(t, "terminal linearity at", f.Terminal.At, 30, 0)
	near.To(t, "least-squares linearity", f.LeastSquares.Percent, 0.913636, 1e-6)
	near.To(t, "sensitivity", f.Sensitivity, 1.00772727, 1e-8)
	if f.Repeatability != nil {
		t.Errorf("repeatability of a single cycle is %+v", *f.Repeatability)
	}
	if f.Linearity.Percent > f.LeastSquares.Percent || f.Linearity.Percent > f.Terminal.Percent {
		t.Errorf("the independent line deviates by %v %%, more than another", f.Linearity.Percent)
	}
	// Averaging up and down hides the hysteresis: 0.131818 is what is left.
	mean := worked()
	of, level := Levels(mean)
	m, _ := Means(mean, of, len(level))
	var rows []Row
	for i := range level {
		rows = append(rows, Row{Reference: level[i], Raw: m[i]})
	}
	g := Of(rows)
	near.To(t, "least squares of the means", g.LeastSquares.MMHg*g.Output/g.FullScale, 0.131818, 1e-6)
	if g.Hysteresis != nil {
		t.Error("a table without directions has a hysteresis")
	}
}

// Counts that fall as pressure rises have the same figures.
func TestFallingCounts(t *testing.T) {
	rows := worked()
	for i := range rows {
		rows[i].Raw = 4000 - 20*rows[i].Raw
	}
	f, g := Of(rows), Of(worked())
	near.To(t, "hysteresis", f.Hysteresis.Percent, g.Hysteresis.Percent, 1e-9)
	near.To(t, "linearity", f.Linearity.Percent, g.Linearity.Percent, 1e-9)
	near.To(t, "sensitivity", f.Sensitivity, -20*g.Sensitivity, 1e-9)
}

func TestRepeatability(t *testing.T) {
	rows := worked()
	for _, r := range worked() {
		r.Cycle = 2
		if r.Reference == 50 && r.Direction == Down {
			r.Raw += 4
		}
		rows = append(rows, r)
	}
	f := Of(rows)
	near.To(t, "repeatability", f.Repeatability.Percent, 4, 1e-9)
	near.To(t, "repeatability at", f.Repeatability.At, 50, 0)
	near.To(t, "hysteresis of the worse cycle", f.Hysteresis.Percent, 6.2, 1e-9)
}

// A hand on a bulb does not hit a level exactly.
func TestLevels(t *testing.T) {
	rows := []Row{{Reference: 0}, {Reference: 100}, {Reference: 50.4}, {Reference: 49.7}, {Reference: 0.5}, {Reference: 10}}
	of, level := Levels(rows)
	want := []int{0, 3, 2, 2, 0, 1}
	for i := range of {
		if of[i] != want[i] {
			t.Errorf("row %d is of level %d, want %d (levels %v)", i, of[i], want[i], level)
		}
	}
	near.To(t, "mean of the third level", level[2], 50.05, 1e-9)
}
