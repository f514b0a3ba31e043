package health

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// Config says what a source is.
type Config struct {
	Channels int // > 0, at most 65,536

	// Rows and Columns lay the first Rows*Columns channels out as a mat, row by
	// row. 0 is for a source that is none.
	Rows, Columns int

	// Together lists groups of channels that feel the same thing: the members
	// of a site, the cells in a pressure chamber. A group of less than three
	// cannot convict anybody. It adds to what a mat gives.
	Together [][]int

	// Falling is for sensors whose readings fall as the load rises.
	Falling bool

	// Move is the smallest swing that counts as movement, in the readings' own
	// unit: 0 stands for 8 counts. For a source that sends mmHg, 2 is apt.
	Move float64

	// Silent is how long a channel may deliver nothing; 0 stands for 30 s.
	Silent time.Duration
}

// Defaults and proportions; the package documentation says why.
const (
	leastMove    = 8
	silentAfter  = 30 * time.Second
	windowLasts  = 2 * time.Minute
	windowCycles = 4 // looks at every channel that a window has, at least

	allAtOnce = 64 // channels up to which there is one stripe
	stripes   = 12
)

// A Monitor watches the channels of one source. It is not safe for concurrent
// use.
type Monitor struct {
	config Config
	shape  *shape
	sign   float32 // of a reading, to make load count upward
	cells  []cell

	at    sample.Instant // newest scan; Past before the first
	first sample.Instant
	phase int // scans of the present stripe seen
	from  int // first channel of the present stripe
	width int // channels in a stripe
	a, b  []float32

	window struct {
		from        sample.Instant
		cycles      int
		top, bottom float32 // of all looks in it
	}
	reach  float32 // range that readings have lately covered
	swing  float32 // what counts as movement
	bottom float32 // lowest reading ever

	rows, columns []uint16 // failed trials of whole lines
	counts        [states]int
	untried       int
	held          []uint16 // channels that Withhold looks at
	withheld      []int    // those of them that it withheld last
}

// New returns a Monitor that has seen nothing. The error says what is wrong
// with c.
func New(c Config) (*Monitor, error) {
	if c.Channels <= 0 || c.Channels > math.MaxUint16+1 {
		return nil, fmt.Errorf("%d channels are not between 1 and %d", c.Channels, math.MaxUint16+1)
	}
	if c.Move == 0 {
		c.Move = leastMove
	}
	if !(c.Move > 0) || math.IsInf(c.Move, 0) {
		return nil, fmt.Errorf("a smallest movement of %v is not above 0", c.Move)
	}
	if c.Silent <= 0 {
		c.Silent = silentAfter
	}
	s, err := shapeOf(&c)
	if err != nil {
		return nil, err
	}
	m := &Monitor{
		config: c, shape: s, sign: 1, cells: make([]cell, c.Channels),
		at: sample.Past, width: c.Channels,
		a: make([]float32, c.Channels), b: make([]float32, c.Channels),
		swing: float32(c.Move), bottom: inf, untried: c.Channels,
		rows: make([]uint16, c.Rows), columns: make([]uint16, c.Columns),
	}
	if c.Falling {
		m.sign = -1
	}
	if c.Channels > allAtOnce {
		m.width = (c.Channels + stripes - 1) / stripes
	}
	m.counts[Sound] = c.Channels
	return m, nil
}

var inf = float32(math.Inf(1))

// Scan takes the readings of one live scan, sampled at the given instant: one a
// channel in the source's own unit, NaN where nothing was delivered. Readings at
// or above rail are saturated; 0 stands for no rail. Raw is not kept.
//
// A scan that is not later than the one before (a repeated or stored one), or
// that has not as many readings as there are channels, is passed over.
func (m *Monitor) Scan(at sample.Instant, raw []float64, rail float64) {
	if at <= m.at && m.at != sample.Past || len(raw) != len(m.cells) {
		return
	}
	if m.at == sample.Past {
		m.begin(at)
	}
	m.at = at
	to := min(m.from+m.width, len(raw))
	switch m.phase {
	case 0:
		m.note(m.a, raw, m.from, to)
		m.phase = 1
		return
	case 1:
		// With those around the stripe, which are asked as well.
		from, to := max(0, m.from-m.shape.farthest), min(to+m.shape.farthest, len(raw))
		m.note(m.b, raw, from, to)
		m.phase = 2
		return
	}
	m.phase = 0
	if rail == 0 || rail != rail {
		rail = math.Inf(1)
	}
	m.look(to, raw, rail)
	if m.from = to; to < len(raw) {
		return
	}
	m.from = 0
	if m.window.cycles++; m.window.cycles >= windowCycles && at.Sub(m.window.from) >= windowLasts {
		m.endWindow()
	}
}

// note keeps the readings of some channels, with load counting upward.
func (m *Monitor) note(to []float32, raw []float64, first, end int) {
	to = to[first:end]
	for i, v := range raw[first:end] {
		to[i] = float32(v) * m.sign
	}
}

func (m *Monitor) begin(at sample.Instant) {
	m.first = at
	m.beginWindow(at)
	for i := range m.cells {
		m.cells[i].seen, m.cells[i].moved = at, at
	}
}

func (m *Monitor) beginWindow(at sample.Instant) {
	m.window.from, m.window.cycles = at, 0
	m.window.top, m.window.bottom = -inf, inf
}

// Withhold makes NaN of those values that are not to be believed, and returns
// how many it made so. Values has an entry a channel that belongs to the scan
// raw, which has been given to Scan.
//
// A value goes only if its reading is exactly the one that the channel is dead
// or stuck at, and that one is near the lowest that its neighbours have read.
// So a channel that answers again is heard at once, and no high reading is ever
// withheld.
func (m *Monitor) Withhold(raw, values []float64) int {
	m.withheld = m.withheld[:0]
	for _, i := range m.held {
		if c := &m.cells[i]; float32(raw[i])*m.sign == c.held {
			values[i] = math.NaN()
			m.withheld = append(m.withheld, int(i))
		}
	}
	return len(m.withheld)
}

// Withheld returns the channels whose values Withhold made NaN when it was last
// called, valid until it is called again.
func (m *Monitor) Withheld() []int { return m.withheld }

// Step says that the host has moved its clock, and with it the times of all
// scans to come.
func (m *Monitor) Step(by time.Duration) {
	m.at, m.first, m.window.from = m.at.Add(by), m.first.Add(by), m.window.from.Add(by)
	for i := range m.cells {
		c := &m.cells[i]
		c.seen, c.moved, c.since = c.seen.Add(by), c.moved.Add(by), c.since.Add(by)
	}
}
