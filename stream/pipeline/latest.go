package pipeline

import (
	"sync"
	"sync/atomic"
	"time"

	"weald/ingest/sample"
)

// rawFor is for how long, in host time, the readings of a source are kept after
// somebody has asked for them. Nobody looks at raw readings for most of the
// time, and a mat's are 16 kB a scan.
const rawFor = 5 * time.Second

// latest has the newest raw readings of those sources that somebody looks at.
type latest struct {
	clock   Clock
	sources []rawSource
}

// A rawSource is what latest has of one source.
type rawSource struct {
	wanted atomic.Int64 // until when readings are to be kept, a sample.Instant

	mu  sync.Mutex
	at  sample.Instant // Past: none
	raw []float64
}

func newLatest(sources int, clock Clock) *latest {
	l := &latest{clock: clock, sources: make([]rawSource, sources)}
	for i := range l.sources {
		l.sources[i].at = sample.Past
		l.sources[i].wanted.Store(int64(sample.Past))
	}
	return l
}

// put keeps a copy of s if its source is looked at.
func (l *latest) put(s *sample.Scan) {
	r := &l.sources[s.Source]
	if s.Stored || sample.Instant(r.wanted.Load()) < l.clock.Now() {
		return
	}
	r.mu.Lock()
	r.at, r.raw = s.At, append(r.raw[:0], s.Raw...)
	r.mu.Unlock()
}

// Raw appends the newest readings of a source, as they were delivered, to dst
// and returns when they were sampled. There are none, and the instant is Past,
// before the first live scan since somebody began to ask: to ask is what has
// them kept, for some seconds. Any goroutine may ask.
func (p *Pipeline) Raw(source int, dst []float64) ([]float64, sample.Instant) {
	r, now := &p.latest.sources[source], p.clock.Now()
	patience := time.Duration(float64(rawFor) * p.clock.Speed())
	before := sample.Instant(r.wanted.Swap(int64(now.Add(patience))))
	r.mu.Lock()
	defer r.mu.Unlock()
	if before < now {
		r.at = sample.Past // what was kept for somebody else is old
	}
	if r.at == sample.Past {
		return dst, sample.Past
	}
	return append(dst, r.raw...), r.at
}
