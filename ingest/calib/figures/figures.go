package figures

import "math"

// A Figure is a deviation, in mmHg and in percent of full scale, with the
// pressure at which it was largest.
type Figure struct {
	MMHg    float64 `json:"mmhg"`
	Percent float64 `json:"percent_fs"`
	At      float64 `json:"at_mmhg"`
}

// A Share is a figure of the whole range.
type Share struct {
	MMHg    float64 `json:"mmhg"`
	Percent float64 `json:"percent_fs"`
}

// Figures are what is said of a sensor. Nil is not known from the table.
type Figures struct {
	FullScale float64 `json:"full_scale_mmhg"` // span of the reference pressures
	Output    float64 `json:"full_scale_output"`

	Linearity    *Figure `json:"linearity"` // independent straight line
	Terminal     *Figure `json:"linearity_terminal"`
	LeastSquares *Figure `json:"linearity_least_squares"`

	Hysteresis    *Figure `json:"hysteresis"`
	Repeatability *Figure `json:"repeatability"`
	Zero          *Figure `json:"zero_error"` // what the loading curve says of the readings at the lowest level, less the reference

	Sensitivity float64 `json:"sensitivity"` // counts per mmHg, of the least-squares line

	ResidualSD     *Share   `json:"residual_sd"`
	UHighest       *Figure  `json:"combined_u"` // the largest combined standard uncertainty within the range
	CreepPerDecade *float64 `json:"creep_per_decade_percent,omitempty"`
	Scatter        *Figure  `json:"single_readings,omitempty"` // two standard deviations of live readings about their level, of the whole range
}

// A Named is a figure with its name; nil where it is not known.
type Named struct {
	Name string
	*Figure
	Whole  bool // of the whole range, not at a pressure
	Judged bool // acceptance limits are for it
}

// Named returns all figures in the order in which people read them.
func (f *Figures) Named() []Named {
	residual := Named{Name: "residual standard deviation", Whole: true}
	if s := f.ResidualSD; s != nil {
		residual.Figure = &Figure{MMHg: s.MMHg, Percent: s.Percent}
	}
	return []Named{
		{"repeatability", f.Repeatability, false, true},
		{"single readings, two standard deviations", f.Scatter, true, true},
		{"hysteresis", f.Hysteresis, false, false},
		{"linearity, independent line", f.Linearity, false, false},
		{"linearity, terminal line", f.Terminal, false, false},
		{"linearity, least squares", f.LeastSquares, false, false},
		{"zero error", f.Zero, false, false},
		residual,
		{"combined standard uncertainty, largest", f.UHighest, false, false},
	}
}

// Of returns the figures that follow from a table alone: Zero, ResidualSD,
// UHighest, Scatter and creep belong to a fit and stay empty. It needs two levels with
// different mean readings; otherwise all is empty.
func Of(rows []Row) Figures {
	of, level := Levels(rows)
	rows = aligned(rows, of, level)
	up, n := Means(rows, of, len(level), Up, "")
	var x, y []float64
	for i := range level {
		if n[i] > 0 {
			x, y = append(x, level[i]), append(y, up[i])
		}
	}
	if len(x) < 2 || y[len(y)-1] == y[0] {
		return Figures{}
	}
	last := len(x) - 1
	f := Figures{FullScale: x[last] - x[0], Output: math.Abs(y[last] - y[0])}
	f.Terminal = f.worst(x, y, lineThrough(x[0], y[0], x[last], y[last]))
	ls := leastSquares(x, y)
	f.LeastSquares = f.worst(x, y, ls)
	f.Linearity = f.worst(x, y, independent(x, y))
	f.Sensitivity = ls.b
	f.Hysteresis = f.hysteresis(rows, of, level)
	f.Repeatability = f.repeatability(rows, of, level)
	return f
}

// Figure expresses a deviation in counts at a pressure.
func (f Figures) Figure(counts, at float64) *Figure {
	share := counts / f.Output
	return &Figure{MMHg: share * f.FullScale, Percent: 100 * share, At: at}
}

// InMMHg expresses a deviation in mmHg at a pressure.
func (f Figures) InMMHg(mmHg, at float64) *Figure {
	return &Figure{MMHg: mmHg, Percent: 100 * mmHg / f.FullScale, At: at}
}

func (f Figures) worst(x, y []float64, l line) *Figure {
	worst, at := -1.0, 0.0
	for i := range x {
		if d := math.Abs(y[i] - l.at(x[i])); d > worst {
			worst, at = d, x[i]
		}
	}
	return f.Figure(worst, at)
}

func (f Figures) hysteresis(rows []Row, of []int, level []float64) *Figure {
	type key struct{ cycle, level int }
	type pair struct {
		up, down   float64
		nUp, nDown int
	}
	pairs := map[key]*pair{}
	for i, r := range rows {
		k := key{r.Cycle, of[i]}
		p := pairs[k]
		if p == nil {
			p = &pair{}
			pairs[k] = p
		}
		switch r.Direction {
		case Up:
			p.nUp++
			p.up += (r.Raw - p.up) / float64(p.nUp)
		case Down:
			p.nDown++
			p.down += (r.Raw - p.down) / float64(p.nDown)
		}
	}
	worst, at := -1.0, 0.0
	for k, p := range pairs {
		if p.nUp > 0 && p.nDown > 0 {
			d := math.Abs(p.down - p.up)
			if d > worst || d == worst && level[k.level] < at {
				worst, at = d, level[k.level]
			}
		}
	}
	if worst < 0 {
		return nil
	}
	return f.Figure(worst, at)
}

func (f Figures) repeatability(rows []Row, of []int, level []float64) *Figure {
	type key struct {
		cycle     int
		direction Direction
		level     int
	}
	type mean struct{ sum, n float64 }
	// Readings of one cycle are one: what is asked is what another loading does.
	// Where the cycles are not said each reading is taken to be another.
	means := map[key]mean{}
	for i, r := range rows {
		k := key{r.Cycle, r.Direction, of[i]}
		if r.Cycle == 0 {
			k.cycle = -1 - i
		}
		means[k] = mean{means[k].sum + r.Raw, means[k].n + 1}
	}
	type spread struct {
		low, high float64
		n         int
	}
	spreads := map[key]spread{}
	for k, m := range means {
		v := m.sum / m.n
		k.cycle = 0
		s, ok := spreads[k]
		if !ok {
			s = spread{v, v, 0}
		}
		spreads[k] = spread{min(s.low, v), max(s.high, v), s.n + 1}
	}
	worst, at := -1.0, 0.0
	for k, s := range spreads {
		if s.n > 1 {
			d := s.high - s.low
			if d > worst || d == worst && level[k.level] < at {
				worst, at = d, level[k.level]
			}
		}
	}
	if worst < 0 {
		return nil
	}
	return f.Figure(worst, at)
}
