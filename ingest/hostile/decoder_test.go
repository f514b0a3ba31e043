package hostile

import (
	"math/rand/v2"
	"testing"

	"weald/ingest/frame"
	"weald/ingest/raced"
	"weald/ingest/sample"
)

// An ear is told what a decoder finds.
type ear struct {
	last  uint32 // number of the last sound frame
	heard bool   // since it was last looked at
	bad   int
	wrong int // frames that nobody sent
}

func (l *ear) Frame(f *frame.Frame) {
	n, ok := number(f.Readings)
	counted := f.Seq
	if f.Wall != sample.Never {
		counted = f.Millis / 100 // rows are numbered by being counted
	}
	if !ok || f.Kind != frame.Readings || counted != n {
		l.wrong++
		return
	}
	l.last, l.heard = n, true
}

func (l *ear) Bad(*frame.Bad) { l.bad++ }

// Whatever arrives, a decoder survives it, holds no more afterwards, and is in
// step again within one good frame.
func TestDecodersAmongHostileBytes(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	for _, s := range speeches() {
		for _, d := range damages() {
			t.Run(s.name+"/"+d.name, func(t *testing.T) {
				r := rand.New(rand.NewPCG(uint64(len(s.name)), uint64(len(d.name))))
				run := listen(t, &s, &d, r, amount())
				t.Logf("%.1f MB, %d bursts: %d refusals, %d frames that nobody sent, %d times the first good frame was lost, %+d bytes held",
					float64(run.bytes)/1e6, run.bursts, run.bad, run.wrong, run.first, run.grown)
				if run.grown > s.holds {
					t.Errorf("holds %d bytes more than before, at most %d are right", run.grown, s.holds)
				}
				if run.second > 0 {
					t.Errorf("the second good frame was lost %d times", run.second)
				}
				if s.whole && run.first > 0 {
					t.Errorf("a message spoiled the next one %d times", run.first)
				}
				if run.bad == 0 {
					t.Error("nothing was refused")
				}
				// Eight bits find most damage of several bits, 32 bits all of it.
				if s.format.Kind == "packed" && run.wrong > 0 || s.checks && run.wrong*8 > run.bad {
					t.Errorf("%d damaged frames were taken for good ones, of %d", run.wrong, run.bad)
				}
			})
		}
	}
}

// An outcome is what became of bursts of hostile bytes with two good frames
// after each.
type outcome struct {
	bytes, bursts int
	bad, wrong    int
	first, second int // times that the first and the second good frame were lost
	grown         int64
}

func listen(t testing.TB, s *speech, d *damage, r *rand.Rand, bytes int) (o outcome) {
	decoder, err := s.format.Decoder()
	if err != nil {
		t.Fatal(err)
	}
	var l ear
	feed := func(p []byte) {
		o.bytes += len(p)
		if s.whole {
			decoder.Message(p, &l)
			return
		}
		for len(p) > 0 { // in any cuts
			n := min(1+r.IntN(4096), len(p))
			decoder.Feed(p[:n], &l)
			p = p[n:]
		}
	}
	before := heap()
	for n := uint32(1); o.bytes < bytes; n += uses + 2 {
		o.bursts++
		feed(d.burst(t, s, r, n))
		for i, lost := range []*int{&o.first, &o.second} {
			l.heard = false
			good := n + uses + uint32(i)
			if feed(s.frame(t, nil, good)); !l.heard || l.last != good {
				*lost++
			}
		}
	}
	o.grown = heap() - before
	o.bad, o.wrong = l.bad, l.wrong
	decoder.Flush(&l)
	return o
}

// BenchmarkHostile is what it costs to refuse.
func BenchmarkHostile(b *testing.B) {
	for _, s := range speeches() {
		for _, d := range damages() {
			b.Run(s.name+"/"+d.name, func(b *testing.B) {
				r := rand.New(rand.NewPCG(1, 2))
				var bursts [][]byte
				size := 0
				for n := uint32(1); size < 1<<20; n += uses {
					bursts = append(bursts, d.burst(b, &s, r, n))
					size += len(bursts[len(bursts)-1])
				}
				decoder, err := s.format.Decoder()
				if err != nil {
					b.Fatal(err)
				}
				feed := decoder.Feed
				if s.whole {
					feed = decoder.Message
				}
				b.SetBytes(int64(size))
				b.ReportAllocs()
				for b.Loop() {
					for _, p := range bursts {
						feed(p, &ear{})
					}
				}
			})
		}
	}
}
