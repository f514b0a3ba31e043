package emulate

import (
	"math"
	"math/rand/v2"
	"time"
)

// A Posture is how somebody lies.
type Posture uint8

// The postures; Empty is a bed with nobody in it.
const (
	Empty Posture = iota
	Supine
	OnLeft
	OnRight
)

// A Lie is one posture and how long it is kept.
type Lie struct {
	Posture Posture
	For     time.Duration
	Eased   float64 // the share of the load that pillows take away
}

// turning is how long a body takes from one posture to the next.
const turning = 8 * time.Second

// Bed is a person on a mattress overlay whose rows run from head to foot.
type Bed struct {
	rows, columns int
	weight        float64 // 1 is a person of middling weight
	lies          []Lie
	fidgets       *rand.Rand

	// The two ends of the present turn, and when it began.
	from, to   []float64
	shares     []float64 // how far the breath moves each cell
	turned     time.Duration
	index      int           // of the present Lie
	until      time.Duration // end of the present Lie
	nextFidget time.Duration
	along      float64 // where the body lies, shifted by fidgets
	across     float64
	breath     float64 // breaths a second
}

// NewBed puts a person of the given weight (1 is middling) on a mat and has
// them go through lies, over and over. It panics without any.
func NewBed(rows, columns int, weight float64, lies []Lie, seed uint64) *Bed {
	if len(lies) == 0 {
		panic("emulate: a bed without a posture")
	}
	b := &Bed{
		rows: rows, columns: columns, weight: weight, lies: lies,
		fidgets: rand.New(noise(seed, 'f')),
		from:    make([]float64, rows*columns),
		to:      make([]float64, rows*columns),
		shares:  make([]float64, rows*columns),
		turned:  -time.Hour, // long at rest when the story begins
		until:   lies[0].For,
	}
	b.breath = 0.2 + 0.08*b.fidgets.Float64()
	b.nextFidget = b.fidgetAfter(0)
	b.draw(b.to)
	copy(b.from, b.to)
	for row := range rows {
		chest := math.Exp(-square((along(row, rows) - 0.27) / 0.1))
		for column := range columns {
			b.shares[row*columns+column] = 0.04 * chest
		}
	}
	return b
}

// At implements Model.
func (b *Bed) At(t time.Duration, mmHg []float64) {
	b.advance(t)
	blend := 1.0
	lifted := 1.0 // in mid-turn a part of the weight is on hands and rails
	if since := t - b.turned; since < turning {
		blend = float64(since) / float64(turning)
		lifted = 1 - 0.35*math.Sin(math.Pi*blend)
	}
	// A motionless body sinks in: about a twelfth more in the first hour.
	creep := 1 + 0.045*math.Log10(1+(t-b.turned).Minutes())
	breath := math.Sin(2 * math.Pi * b.breath * t.Seconds())
	for i := range mmHg {
		p := b.from[i] + blend*(b.to[i]-b.from[i])
		mmHg[i] = p * lifted * creep * (1 + breath*b.shares[i])
	}
}

// advance brings postures and fidgets up to t.
func (b *Bed) advance(t time.Duration) {
	for {
		next := min(b.until, b.nextFidget)
		if t < next {
			return
		}
		if next == b.nextFidget {
			b.nextFidget = b.fidgetAfter(next)
			if next == b.until {
				continue // the turn moves the body anyway
			}
			b.along = clamp(b.along+0.004*b.fidgets.NormFloat64(), 0.02)
			b.across = clamp(b.across+0.02*b.fidgets.NormFloat64(), 0.1)
			// A fidget is small: the body neither lifts nor starts to
			// sink in anew.
			b.draw(b.to)
			copy(b.from, b.to)
			continue
		}
		b.index = (b.index + 1) % len(b.lies)
		b.from, b.to = b.to, b.from
		b.draw(b.to)
		b.turned, b.until = next, next+b.lies[b.index].For
	}
}

func (b *Bed) fidgetAfter(t time.Duration) time.Duration {
	return t + time.Second + time.Duration(b.fidgets.ExpFloat64()*float64(2*time.Minute))
}

// draw fills cells with the present posture.
func (b *Bed) draw(cells []float64) {
	clear(cells)
	posture, weight := b.lies[b.index].Posture, b.weight*(1-b.lies[b.index].Eased)
	mirror := 1.0
	if posture == OnLeft { // seen from above, who lies on the left side looks to the right
		mirror = -1
	}
	for _, part := range bodies[posture] {
		part.across *= mirror
		part.press(cells, b.rows, b.columns, b.along, b.across, weight)
	}
	soften(cells)
}

// soften takes away what is too light to be felt through a sheet.
func soften(cells []float64) {
	for i, p := range cells {
		if p < 1 {
			cells[i] = 0
		}
	}
}

func square(x float64) float64 { return x * x }

func clamp(x, limit float64) float64 { return min(max(x, -limit), limit) }

// along is where a row lies between the first edge (0) and the last (1).
func along(row, rows int) float64 { return (float64(row) + 0.5) / float64(rows) }
