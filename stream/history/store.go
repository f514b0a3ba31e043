// Package history remembers the last hour of every series of every place, in
// memory: the newest readings as they came, seconds with their least, mean and
// greatest value, and the maps of mats.
//
// It is bounded whatever arrives. For each place it keeps the rows of raw values of
// the last minute, at most 1,024 (4 bytes a series and row, 16 more a row); for each
// series 62 minutes of seconds (12 bytes each while they differ, taken as they fill
// up), or, where somebody else keeps them too, those of the last minutes; for each
// mat the present map and 120 older ones, half a minute apart (about 3 bits a cell).
//
// The pipeline writes, anybody reads. Every place has a lock of its own, held
// for copying and never for more.
package history

import (
	"errors"
	"math"
	"sync"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/pipeline"
	"weald/stream/view"
)

// Span is for how long seconds are remembered at least.
const Span = time.Hour

// Errors of queries.
var (
	ErrNoSeries = errors.New("no such signal")
	ErrNoMap    = errors.New("no map is remembered for that time")
	ErrBackward = errors.New("a history must end after it begins")
	ErrTooLong  = errors.New("a history spans no more than a year")
)

// A Store is the memory of all places.
type Store struct {
	places []place
}

type place struct {
	series []pipeline.Series // never changes
	peak   int               // series that says how long the map lasts, -1 without a mat

	mu    sync.Mutex
	rows  rows   // guarded by mu, as is all below
	tiers []tier // by series
	told  []said // by series: the value that was noted last
	grid  grid
}

// A said is a value of a signal as it was told, all of it, since two readings
// may have been taken at the same instant.
type said struct {
	at, until sample.Instant
	value     uint64 // bits: a NaN is the same as itself
}

func saidOf(sig *rules.Signal) said {
	if sig.At == sample.Past {
		return unsaid
	}
	return said{sig.At, sig.Until, math.Float64bits(sig.Value)}
}

// unsaid is what signals say before their first reading.
var unsaid = said{at: sample.Past, until: sample.Past}

// New returns an empty memory for n places whose series are given by series.
func New(n int, series func(place int) []pipeline.Series) *Store {
	s := &Store{places: make([]place, n)}
	for i := range s.places {
		p := &s.places[i]
		p.series, p.peak = series(i), -1
		for k := range p.series {
			if p.series[k].Name == "mat.peak" {
				p.peak = k
			}
		}
		p.rows.width = len(p.series)
		p.tiers = make([]tier, len(p.series))
		p.told = make([]said, len(p.series))
		for k := range p.told {
			p.told[k], p.tiers[k].gone = unsaid, math.MinInt64
		}
		p.grid.now.At, p.grid.now.Until = sample.Past, sample.Past
	}
	return s
}

// Series returns the series of a place. The slice never changes.
func (s *Store) Series(place int) []pipeline.Series { return s.places[place].series }

// Updated implements pipeline.Follower.
func (s *Store) Updated(u *pipeline.Update) {
	p := &s.places[u.Place]
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.news(u) {
		p.note(u)
	}
	if u.Cells.Rows > 0 && p.peak >= 0 {
		p.grid.set(&u.Cells, u.Signals[p.peak].Until)
	}
}

// news reports whether an update says anything. Where something became due and
// nothing was measured it does not.
func (p *place) news(u *pipeline.Update) bool {
	for i := range u.Signals {
		if saidOf(&u.Signals[i]) != p.told[i] {
			return true
		}
	}
	return len(u.Holds) > 0
}

// note makes a row of an update.
func (p *place) note(u *pipeline.Update) {
	row := p.rows.add(u.At, u.Now)
	for i := range p.series {
		row[i] = absent
	}
	for i := range u.Signals {
		sig := &u.Signals[i]
		if is := saidOf(sig); is != p.told[i] {
			p.told[i] = is
			row[i] = float32(sig.Value)
			p.tiers[i].add(sig.At, sig.Value, sig.Until)
		}
	}
	for k := range u.Holds {
		i := len(u.Signals) + k
		used := sample.Unknown
		if u.Holds[k].Condition != sample.Maybe {
			used = u.Holds[k].Used()
		}
		row[i] = float32(used)
		p.tiers[i].add(u.At, used, u.At.Add(p.series[i].Lasts))
	}
}

// Alert implements pipeline.Follower; alerts are not remembered here.
func (s *Store) Alert(view.Alert, alert.Change) {}
