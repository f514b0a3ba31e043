package battery

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// Steps and thresholds; the package documentation says why.
const (
	percentStep = 1.0
	voltStep    = 20.0 // mV

	risen    = 3               // steps up that a charger makes
	leapt    = 10              // steps between two statuses that another battery makes
	fallen   = 3               // steps down before there is a trend
	enough   = 10              // steps down that make an older past superfluous
	warmer   = 8               // degrees between which levels cannot be compared
	warming  = 4               // degrees after which a rise begins anew
	smoothed = 2 * time.Minute // time constant
	risenFor = 3 * time.Minute // and three statuses, before a rise is believed
	chargeIn = 30 * time.Minute

	firstBin = 5 * time.Minute
	maxBins  = 48
	longest  = 60 * 24 * time.Hour
)

// NoCelsius is the temperature of a source that does not know it, as in status
// frames.
const NoCelsius = -128

// A Trend follows the battery of one source. It is not safe for concurrent use.
type Trend struct {
	emptyMV int

	at      sample.Instant // newest status with a level; Past before it
	before  sample.Instant // the one before
	percent int
	mV      int
	celsius int
	volts   bool // levels are mV

	lately [3]float64 // newest last
	known  int        // how many of them are set
	level  float64    // median of them
	smooth float64    // the same, with the tremble taken out

	low        float64 // lowest smooth since the last rise
	lowCelsius int
	above      sample.Instant // the level has been risen steps above low; Past not
	highs      int            // statuses since
	charging   bool
	peak       float64        // highest smooth while charging
	rung       float64        // smooth at the newest rise
	rose       sample.Instant // newest rise
	fresh      sample.Instant // charged or replaced; Past never

	bins  []bin
	width time.Duration

	fit   fit
	valid bool // fit is that of the bins
}

// A bin is a mean over a stretch of time.
type bin struct {
	from           sample.Instant // its first status
	after          float64        // mean seconds after from
	level, celsius float64
	n              float64
	warmth         float64 // how many of n had a temperature
}

// New returns a Trend that knows nothing. emptyMV is the voltage at which the
// device stops, for sources that give no percentage; 0 if it is not known.
func New(emptyMV int) *Trend {
	t := &Trend{emptyMV: emptyMV, bins: make([]bin, 0, maxBins), at: sample.Past, before: sample.Past}
	t.forget(sample.Past)
	return t
}

// forget begins anew with another or a charged battery.
func (t *Trend) forget(at sample.Instant) {
	t.bins, t.width, t.valid = t.bins[:0], firstBin, false
	t.fresh = at
	t.settle()
}

// settle makes the present level that from which a rise is measured.
func (t *Trend) settle() {
	t.low, t.lowCelsius = t.smooth, t.celsius
	t.above, t.highs = sample.Past, 0
}

// Status takes what a source says of itself at the given instant: millivolts and
// percent, -1 unknown, and degrees Celsius, NoCelsius unknown. A status
// that is not later than the one before, or that knows of no battery, is passed
// over.
func (t *Trend) Status(at sample.Instant, mV, percent, celsius int) {
	if at <= t.at && t.at != sample.Past || mV < 0 && percent < 0 {
		return
	}
	if volts := percent < 0; t.known == 0 || volts != t.volts {
		t.known, t.volts, t.charging = 0, volts, false
		t.before, t.at = sample.Past, sample.Past
	}
	warmed := t.known > 0 && apart(celsius, t.celsius, warming)
	t.before, t.at = t.at, at
	t.mV, t.percent, t.celsius = mV, percent, celsius
	level := float64(percent)
	if t.volts {
		level = float64(mV)
	}
	last := t.level
	t.push(level, warmed)
	if t.known == 1 {
		t.forget(sample.Past)
	} else {
		t.compare(last)
	}
	if !t.charging && !t.full(level) {
		t.put(at, level, celsius)
	}
}

// push takes a level. With anew, those before cannot be compared with it.
func (t *Trend) push(level float64, anew bool) {
	if anew = anew || t.known == 0; anew {
		t.lately = [3]float64{level, level, level}
	}
	copy(t.lately[:], t.lately[1:])
	t.lately[2] = level
	t.known = min(t.known+1, 3)
	a, b, c := t.lately[0], t.lately[1], t.lately[2]
	t.level = max(min(a, b), min(max(a, b), c))
	if anew {
		t.smooth = t.level
	} else {
		t.smooth += (t.level - t.smooth) * -math.Expm1(-float64(t.at.Sub(t.before))/float64(smoothed))
	}
}

// compare looks for chargers and other batteries, given the median before.
func (t *Trend) compare(last float64) {
	step := t.step()
	switch d := t.level - last; {
	case d >= leapt*step:
		t.charging, t.smooth = false, t.level
		t.forget(t.at)
		return
	case d <= -leapt*step: // a weaker one, or much has happened unseen
		t.charging, t.smooth = false, t.level
		t.forget(sample.Past)
		return
	case t.charging:
		t.charge(step)
		return
	}
	switch {
	case t.smooth < t.low || apart(t.celsius, t.lowCelsius, warming):
		t.settle()
	case t.smooth < t.low+risen*step:
		t.above, t.highs = sample.Past, 0
	default:
		if t.highs++; t.highs == 1 {
			t.above = t.at
		}
		if t.highs >= 3 && t.at.Sub(t.above) >= risenFor {
			t.charging, t.peak, t.rung, t.rose = true, t.smooth, t.smooth, t.at
			t.forget(t.at)
		}
	}
}

// charge follows a battery on a charger until it falls, or no longer rises.
func (t *Trend) charge(step float64) {
	t.forget(t.at)
	t.peak = max(t.peak, t.smooth)
	switch {
	case t.smooth >= t.rung+step/2:
		t.rung, t.rose = t.smooth, t.at
	case t.smooth <= t.peak-step || t.at.Sub(t.rose) >= chargeIn:
		t.charging = false
	}
}

func (t *Trend) step() float64 {
	if t.volts {
		return voltStep
	}
	return percentStep
}

// full reports whether a gauge is at its end, where it hides what happens.
func (t *Trend) full(level float64) bool { return !t.volts && level >= 100 }

// apart reports whether two temperatures differ by more than so many degrees.
func apart(a, b, degrees int) bool {
	return a != NoCelsius && b != NoCelsius && (a-b > degrees || b-a > degrees)
}

// put adds a level to the bins.
func (t *Trend) put(at sample.Instant, level float64, celsius int) {
	t.valid = false
	if n := len(t.bins); n == 0 || at.Sub(t.bins[n-1].from) >= t.width {
		if n == maxBins {
			t.makeRoom()
		}
		t.bins = append(t.bins, bin{from: at})
	}
	b := &t.bins[len(t.bins)-1]
	b.n++
	b.after += (at.Sub(b.from).Seconds() - b.after) / b.n
	b.level += (level - b.level) / b.n
	if celsius != NoCelsius {
		b.warmth++
		b.celsius += (float64(celsius) - b.celsius) / b.warmth
	}
}

// makeRoom drops the oldest bin if the others show enough of a fall, or makes
// one bin of every two.
func (t *Trend) makeRoom() {
	old, now := &t.bins[1], &t.bins[len(t.bins)-1]
	span := now.from.Sub(old.from)
	if old.level-now.level >= 2*enough*t.step() && span >= 12*time.Hour || span >= longest {
		t.bins = append(t.bins[:0], t.bins[1:]...)
		return
	}
	for i := range len(t.bins) / 2 {
		t.bins[i] = t.bins[2*i].and(&t.bins[2*i+1])
	}
	t.bins = t.bins[:len(t.bins)/2]
	t.width *= 2
}

// and returns the mean of two bins, of which c is the later.
func (b *bin) and(c *bin) bin {
	d := bin{from: b.from, n: b.n + c.n, warmth: b.warmth + c.warmth}
	share := c.n / d.n
	d.after = b.after + (c.from.Sub(b.from).Seconds()+c.after-b.after)*share
	d.level = b.level + (c.level-b.level)*share
	if d.warmth > 0 {
		d.celsius = b.celsius + (c.celsius-b.celsius)*c.warmth/d.warmth
	}
	return d
}
