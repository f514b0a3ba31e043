package hostile

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/sample"
)

// A pipe is a link in memory that gives what next returns until that is nil,
// and is silent from then on.
type pipe struct {
	whole  bool
	next   func() []byte
	rest   []byte
	said   atomic.Int64 // bytes
	silent chan struct{}
	closed chan struct{}
}

func (p *pipe) Name() string                                { return "pipe" }
func (p *pipe) Open(context.Context) (io.ReadCloser, error) { return p, nil }
func (p *pipe) Whole() bool                                 { return p.whole }
func (p *pipe) Close() error                                { close(p.closed); return nil }

func (p *pipe) Read(b []byte) (int, error) {
	if len(p.rest) == 0 {
		if p.rest = p.next(); p.rest == nil {
			close(p.silent)
			<-p.closed
			return 0, io.ErrClosedPipe
		}
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	p.said.Add(int64(n))
	return n, nil
}

// A storm is hostile bytes in bursts, with two good frames after each.
type storm struct {
	t      testing.TB
	speech *speech
	damage *damage
	r      *rand.Rand
	left   int    // bytes
	n      uint32 // next frame
	step   int    // of a burst: the damage, the first good frame, the second
	second []bool // by number: a second good frame
}

func (m *storm) next() []byte {
	var b []byte
	switch m.step++; m.step {
	case 1:
		if m.left <= 0 {
			return nil
		}
		b = m.damage.burst(m.t, m.speech, m.r, m.n)
	case 2:
		b = m.speech.frame(m.t, nil, m.n+uses)
	default:
		m.second[m.n+uses+1] = true
		b = m.speech.frame(m.t, nil, m.n+uses+1)
		m.step, m.n = 0, m.n+uses+2
	}
	m.left -= len(b)
	return b
}

// The same bytes through a whole bridge: every byte is counted, no second good
// frame is lost on the way to its scan, and nothing grows, neither in the decoder
// nor in what is remembered of sources that do not exist.
func TestBridgesAmongHostileBytes(t *testing.T) {
	for _, s := range speeches() {
		for _, d := range damages() {
			t.Run(s.name+"/"+d.name, func(t *testing.T) {
				m := &storm{t: t, speech: &s, damage: &d, r: rand.New(rand.NewPCG(7, uint64(len(d.name)))), left: amount(), n: 1, second: make([]bool, mostFrames())}
				p := &pipe{whole: s.whole, next: m.next, silent: make(chan struct{}), closed: make(chan struct{})}
				through(t, m, p)
			})
		}
	}
}

// mostFrames is a bound of the numbers in a storm: each ten go with two good
// frames of more than 90 bytes.
func mostFrames() int { return amount()/18 + 100 }

func through(t *testing.T, m *storm, p *pipe) {
	began := time.Now()
	came := make([]bool, len(m.second))
	scans := 0
	sup, err := ingest.New(ingest.Bridge{ID: "hub", Link: p, Format: m.speech.format, Sources: []ingest.Source{{
		Number: 1, ID: "hub/mat", Channels: channels, Rate: 10, StaleAfter: time.Second, Unit: calib.MMHg,
	}}}, ingest.Options{
		Now: func() sample.Instant { return sample.At(began).Add(time.Since(began)) },
		Out: func(s *sample.Scan) {
			scans++
			if n, ok := number(s.Raw); ok && int(n) < len(came) {
				came[n] = true
			}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	before := heap()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- sup.Run(ctx) }()
	<-p.silent
	eventually(t, 10*time.Second, func() error {
		if got := sup.Status().Bytes; int64(got) != p.said.Load() {
			return fmt.Errorf("counted %d bytes of %d", got, p.said.Load())
		}
		return nil
	})
	grown := heap() - before
	status := sup.Status()
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	sent, lost := 0, 0
	for n, second := range m.second {
		if second {
			sent++
			if !came[n] {
				lost++
			}
		}
	}
	t.Logf("%.1f MB: %d frames, %d refused, %d scans, %d unknown sources, %+d bytes held", float64(status.Bytes)/1e6, status.Frames, status.BadFrames(), scans, len(status.Unknown), grown)
	if lost > 0 || sent == 0 {
		t.Errorf("of %d second good frames %d gave no scan", sent, lost)
	}
	if status.BadFrames() == 0 || status.LastBad == "" {
		t.Error("nothing was refused")
	}
	if len(status.Unknown) > 32 {
		t.Errorf("remembers %d sources that do not exist", len(status.Unknown))
	}
	if most := m.speech.holds + 512<<10; grown > most {
		t.Errorf("holds %d bytes more than before, at most %d are right", grown, most)
	}
}
