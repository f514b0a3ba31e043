package exposure

import (
	"fmt"
	"math"
	"sort"
	"sync"
	"time"

	"weald/ingest/sample"
)

// A Where says on which side of a model's data a pressure lies.
type Where int8

// The sides. The zero value is inside.
const (
	Within Where = 0
	Below  Where = -1 // no limit is known
	Above  Where = +1 // beyond the data: even their shortest time is not known to be tolerated
)

// A Model is a published relation of pressure and tolerated time, or a site's
// own table.
type Model struct {
	Name    string // as the configuration writes it
	Title   string // for people: whose model it is, and of what
	Source  string // where it was published
	Caution string // what has to be said beside every number made with it

	// The data: pressures in mmHg, and the times that belong to them. Lowest
	// goes with Longest, which is 0 where the model has no longest time.
	Lowest, Highest   float64
	Longest, Shortest time.Duration

	hours func(p float64) float64 // T(P) within the data
	rates []float64               // 1/s, from Lowest on in steps; nil where they are worked out each time
}

// Tolerated returns how long the model has a pressure of p mmHg tolerated. It
// is 0 for Below, where no limit is known. Above is said of a time that is
// shorter than any in the data; it is 0 where the model has none. p must be
// known.
func (m *Model) Tolerated(p float64) (time.Duration, Where) {
	switch {
	case p <= m.Lowest && (p < m.Lowest || m.Longest == 0):
		return 0, Below
	case p > m.Highest:
		return 0, Above
	}
	t := time.Duration(m.hours(p) * float64(time.Hour))
	if t < m.Shortest-time.Microsecond { // which rounding is not
		return t, Above
	}
	return t, Within
}

// Rate returns dE/dt in 1/s at a pressure of p mmHg: 0 below the data, and that
// of the shortest time in the data above them.
func (m *Model) Rate(p float64) float64 {
	if m.rates != nil && p > m.Lowest {
		return m.rate(p)
	}
	t, where := m.Tolerated(p)
	if where == Below {
		return 0
	}
	return 1 / max(t, m.Shortest).Seconds()
}

// The names of the published models.
const (
	ReswickRogers = "reswick_rogers"
	LinderGanz    = "linder_ganz"
)

// Names lists the published models.
func Names() []string { return []string{LinderGanz, ReswickRogers} }

// Published returns the model of that name.
func Published(name string) (*Model, bool) {
	for _, m := range []*Model{&linderGanz, &reswickRogers} {
		if m.Name == name {
			return m, true
		}
	}
	return nil, false
}

const research = "a research model, not a statement of what is safe: look at the skin, and follow local policy"

// The sigmoid of rat muscle, in kPa and minutes. The parameters are those of a
// secondary source, and as remembered; the plateaus are those of the abstract.
const (
	sigmoidK, sigmoidC, sigmoidAlpha, sigmoidT0 = 23.0, 8.0, 0.15, 95.0

	// The abstract tells of deaths of cells from 15 min to beyond 2 h.
	sigmoidShortest = 15 * time.Minute
)

// SigmoidKPa is the pressure in kPa that the Linder-Ganz sigmoid has tolerated
// for t.
func SigmoidKPa(t time.Duration) float64 {
	return sigmoidK/(1+math.Exp(sigmoidAlpha*(t.Minutes()-sigmoidT0))) + sigmoidC
}

var linderGanz = Model{
	Name:  LinderGanz,
	Title: "Linder-Ganz 2006, rat muscle",
	Source: "Linder-Ganz, Engelberg, Scheinowitz, Gefen, J Biomech 2006;39(14):2725-2732; " +
		"parameters from a secondary source",
	Caution:  research + "; made from rat muscle, from 15 min to 4 h",
	Lowest:   float64(sample.FromPascals(1000 * sigmoidC)),
	Highest:  float64(sample.FromPascals(1000 * (sigmoidC + sigmoidK/(1+math.Exp(-sigmoidAlpha*sigmoidT0))))),
	Shortest: sigmoidShortest,
	hours: func(p float64) float64 {
		kpa := sample.MMHg(p).KPa()
		return (sigmoidT0 + math.Log(sigmoidK/(kpa-sigmoidC)-1)/sigmoidAlpha) / 60
	},
}

// GuidelineMMHg is the pressure in mmHg that the fit to the Reswick and Rogers
// guideline has tolerated for t.
func GuidelineMMHg(t time.Duration) float64 {
	h := t.Hours()
	return 650*math.Exp(-1.1469*h) + 457*math.Exp(-0.4905*h) + 77*math.Exp(-0.1117*h)
}

// The guideline has no data before about 1 h or after about 16 h (Gefen, Nurs
// Stand 2009;23(45):64-74 and 23(46):40-44; from memory).
const guidelineShortest, guidelineLongest = time.Hour, 16 * time.Hour

var reswickRogers = Model{
	Name:  ReswickRogers,
	Title: "Reswick and Rogers 1976, clinical guideline",
	Source: "Reswick, Rogers in Kenedi, Cowden, Scales, Bed Sore Biomechanics, Macmillan 1976:301-310, " +
		"as fitted by Linares, Mawson, Suarez, J Basic Appl Sci 2012;8:720-728",
	Caution:  research + "; a guideline curve without data before 1 h or after 16 h",
	Lowest:   GuidelineMMHg(guidelineLongest),
	Highest:  GuidelineMMHg(guidelineShortest),
	Longest:  guidelineLongest,
	Shortest: guidelineShortest,
	hours:    guidelineHours,
}

// guidelineHours inverts the guideline, which falls all the way, by Newton's
// method held inside a bracket.
func guidelineHours(p float64) float64 {
	lo, hi := guidelineShortest.Hours(), guidelineLongest.Hours()
	h := (lo + hi) / 2
	for range 64 {
		a, b, c := 650*math.Exp(-1.1469*h), 457*math.Exp(-0.4905*h), 77*math.Exp(-0.1117*h)
		f := a + b + c - p
		if f > 0 {
			lo = h
		} else {
			hi = h
		}
		next := h + f/(1.1469*a+0.4905*b+0.1117*c)
		if next < lo || next > hi {
			next = (lo + hi) / 2
		}
		if math.Abs(next-h) < 1e-13*h {
			return next
		}
		h = next
	}
	return h
}

// A Point is one line of a site's own table: a pressure in mmHg and for how long
// it is tolerated there.
type Point struct {
	MMHg float64
	Time time.Duration
}

// Table returns the model of a site's own table, of at least two points of
// rising pressure and falling time. Between points the logarithm of the time
// goes straight with the logarithm of the pressure.
func Table(points []Point) (*Model, error) {
	if len(points) < 2 {
		return nil, fmt.Errorf("a table needs at least two points: it has %d", len(points))
	}
	for i, p := range points {
		switch {
		case !(p.MMHg > 0) || math.IsInf(p.MMHg, 0) || p.Time <= 0:
			return nil, fmt.Errorf("point %d is %g mmHg for %v: both must be above zero", i+1, p.MMHg, p.Time)
		case i > 0 && p.MMHg <= points[i-1].MMHg:
			return nil, fmt.Errorf("point %d is %g mmHg after %g: write the lower pressure first", i+1, p.MMHg, points[i-1].MMHg)
		case i > 0 && p.Time >= points[i-1].Time:
			return nil, fmt.Errorf("point %d has %v after %v: a higher pressure is tolerated for a shorter time", i+1, p.Time, points[i-1].Time)
		}
	}
	first, last := points[0], points[len(points)-1]
	return &Model{
		Name: "table", Title: "Table of this site", Source: "the configuration",
		Caution: "not a statement of what is safe: look at the skin, and follow local policy",
		Lowest:  first.MMHg, Longest: first.Time, Highest: last.MMHg, Shortest: last.Time,
		hours: func(p float64) float64 {
			i := sort.Search(len(points)-2, func(i int) bool { return p <= points[i+1].MMHg })
			a, b := points[i], points[i+1]
			along := math.Log(p/a.MMHg) / math.Log(b.MMHg/a.MMHg)
			return a.Time.Hours() * math.Pow(b.Time.Hours()/a.Time.Hours(), along)
		},
	}, nil
}

// tableStep is the distance of pressures in mmHg in a tabulated model.
const tableStep = 1.0 / 32

// steep is how many lines at either end of the table are not used.
const steep = 32

// Tabulated returns m with a table of rates, straight between its lines, for
// thousands of cells: within the data the time is that of m to 0.1 %.
// The table of a published model is made once.
func (m *Model) Tabulated() *Model {
	switch m {
	case &linderGanz:
		return linderGanzTable()
	case &reswickRogers:
		return reswickRogersTable()
	}
	return m.tabulate()
}

var (
	linderGanzTable    = sync.OnceValue(linderGanz.tabulate)
	reswickRogersTable = sync.OnceValue(reswickRogers.tabulate)
)

func (m *Model) tabulate() *Model {
	t := *m
	t.rates = nil
	for p := m.Lowest; p <= m.Highest+tableStep; p += tableStep {
		t.rates = append(t.rates, m.Rate(min(p, m.Highest)))
	}
	return &t
}

// rate looks a pressure above the lowest up.
func (m *Model) rate(p float64) float64 {
	at := (p - m.Lowest) / tableStep
	if !(at < float64(len(m.rates)-1)) {
		return 1 / m.Shortest.Seconds()
	}
	i := int(at)
	if i < steep || i > len(m.rates)-steep { // a sigmoid's ends are too steep for straight lines
		return 1 / (max(m.hours(p), m.Shortest.Hours()) * 3600)
	}
	return m.rates[i] + (at-float64(i))*(m.rates[i+1]-m.rates[i])
}
