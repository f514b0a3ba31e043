package export

import (
	"context"
	"math"
	"path/filepath"
	"time"
)

const (
	// mostSamples is how many samples one Observation has at most: an hour at ten
	// a second. FHIR lets no string be longer than a megabyte
	// (hl7.org/fhir/R4/datatypes.html#string); these take a quarter of one.
	mostSamples = 36_000

	// longestGap is how long a signal may be unknown within one Observation. A
	// longer time is between two. Common practice, no source.
	longestGap = time.Minute
)

// FHIR writes the recording into folder as base.json: a Bundle of HL7 FHIR R4
// (4.0.1) of the kind "collection", with Observations whose values are
// SampledData. Each is of one signal and at most so long that a server takes it.
//
// The grid is that of EDF: on a track with a rate each reading stands at the
// sample nearest to it, on others a sample is the reading in force, and nothing
// is held for longer than the track's StaleAfter. A token of the data is a whole
// number, to be multiplied by factor; factor is the power of ten that leaves five
// digits of the signal's largest value. "E" is unknown, "L" and "U" are below and
// above the range that a signal gives, which is then lowerLimit and upperLimit.
// Unknown for longer than a minute is told by no Observation at all, and a signal
// that was never known by one with a dataAbsentReason and no value.
//
// Where the rows tell them, two components have the standard uncertainty of each
// sample, and which samples are in doubt because of their calibration; notes sum
// up both. The code is a text: LOINC has no code for the pressure between a body
// and what presses on it that we know of. Units are those of UCUM. The subject is
// an identifier, the person's code, and nothing else. The status is
// "preliminary", since nobody has verified what sensors read.
//
// There are readings alone in it: alerts and marks are in the other formats.
//
// Its error wraps ErrRecording or ErrEmpty, or is that of a track, of ctx or of
// the file system.
func FHIR(ctx context.Context, r Recording, folder, base string, o Options) ([]File, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	f, err := newFHIRExport(&r, o)
	if err != nil {
		return nil, err
	}
	out := &output{folder: filepath.Clean(folder), replace: o.Replace}
	defer out.discard()
	p, err := out.create(base + ".json")
	if err != nil {
		return nil, err
	}
	if err := f.survey(ctx); err != nil {
		return nil, err
	}
	if err := f.write(ctx, p); err != nil {
		return nil, err
	}
	return out.commit(ctx)
}

// A fhirExport is one run of FHIR.
type fhirExport struct {
	header *Header
	wide   Recording // with uncertainties and doubts as signals of their own
	l      layout
	m      *meter
	series [][]*series // of each track, its signals
}

func newFHIRExport(r *Recording, o Options) (*fhirExport, error) {
	f := &fhirExport{header: &r.Header, wide: r.widened(), m: newMeter(o, &r.Header, 2)}
	var err error
	if f.l, err = f.wide.layoutWithin(DefaultIrregularRate, math.MaxInt); err != nil {
		return nil, err
	}
	stretches := r.Header.stretches()
	for i := range r.Tracks {
		var all []*series
		for s := range r.Tracks[i].Signals {
			all = append(all, &series{
				Signal: r.Tracks[i].Signals[s], stale: r.Tracks[i].stale(), n: f.l.lanes[i].n, regular: f.l.lanes[i].regular,
				duration: f.l.duration, from: floorSecond(r.Header.Start), stretches: stretches,
			})
		}
		f.series = append(f.series, all)
	}
	return f, nil
}

// each goes through the grid and hands every record to every series, as three
// columns: values, uncertainties, doubts.
func (f *fhirExport) each(ctx context.Context, do func(s *series, index int64, l *lane, values, us, doubts []float64) error) error {
	g := f.wide.grid(ctx, &f.l)
	defer g.stop()
	for {
		more, err := g.next()
		if err != nil || !more {
			return err
		}
		for i, all := range f.series {
			l := &g.lanes[i]
			for k, s := range all {
				if err := do(s, g.index, l, l.out[k], l.out[len(all)+k], l.out[2*len(all)+k]); err != nil {
					return err
				}
			}
		}
		f.m.at(g.begin())
	}
}

// survey finds how large values are.
func (f *fhirExport) survey(ctx context.Context) error {
	f.m.part("looking for the range of values")
	known := false
	err := f.each(ctx, func(s *series, _ int64, _ *lane, values, us, _ []float64) error {
		for k, v := range values {
			if v != v {
				continue
			}
			known, s.known = true, true
			if s.within(v) {
				s.most = max(s.most, math.Abs(v))
			}
			if us[k] == us[k] {
				s.mostU = max(s.mostU, us[k])
			}
		}
		return nil
	})
	if err == nil && !known {
		err = ErrEmpty
	}
	f.m.done()
	return err
}

// write goes through the recording for the second time.
func (f *fhirExport) write(ctx context.Context, p *part) error {
	f.m.part("writing")
	b := newBundle(p, f.header)
	for _, all := range f.series {
		for _, s := range all {
			s.decimals, s.decimalsU = decimals(s.most, 5), decimals(s.mostU, 3)
			if !s.known {
				b.absent(s)
			}
		}
	}
	err := f.each(ctx, func(s *series, index int64, l *lane, values, us, doubts []float64) error {
		for k, v := range values {
			if v != v {
				continue
			}
			at := index*int64(s.n) + int64(k)
			of, mine := s.whose(l.read[k], s.at(at), l.own[k])
			if !mine {
				continue
			}
			if s.ends(at, of) {
				b.observation(s)
			}
			s.add(at, of, v, us[k], doubts[k])
			p.rows++
		}
		return b.err
	})
	if err != nil {
		return err
	}
	for _, all := range f.series {
		for _, s := range all {
			b.observation(s)
		}
	}
	f.m.done()
	return b.end()
}
