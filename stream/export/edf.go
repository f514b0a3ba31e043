package export

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// EDFOptions are those of EDF.
type EDFOptions struct {
	Options
	// IrregularRate is the samples per second of tracks without a rate; 0 means
	// DefaultIrregularRate.
	IrregularRate float64
}

// DefaultIrregularRate is 10 a second: as often as a person changes anything.
// Common practice, no source.
const DefaultIrregularRate = 10

// An EDFFile is what EDF has written.
type EDFFile struct {
	File
	Kind        edf.Kind
	Records     int
	Duration    time.Duration // of a record
	Annotations int           // in the file; a long text makes several
	Signals     []EDFSignal
}

// An EDFSignal says what became of one signal.
type EDFSignal struct {
	Name    string
	Label   string  // what it is called in the file
	Rate    float64 // samples per second
	Regular bool    // samples come as often as rows; else by zero-order hold
	// Resolution is between neighbouring samples, in the signal's unit; a value
	// that was not clipped is off by half of it at most.
	Resolution float64
	// Low and High are the lowest and highest value of all samples; NaN where
	// none was known.
	Low, High float64
	Clipped   int64 // samples beyond what a given range leaves room for
	Repeated  int64 // samples that hold a row that another sample shows
	Skipped   int64 // rows that no sample shows
}

// EDF writes the recording to one EDF+ file, base.edf in folder.
//
// The recording is gone through twice: once for what its header has to say, and
// once to write it. Each signal is in its own unit with 16 bits; its physical
// range is that of its data unless the signal gives one. The resolution is in
// the prefiltering field, and with it how samples came to be: on a track with a
// rate that records of a whole number of samples can have, each reading stands
// at the sample nearest to it, at most three quarters of a sample off; on
// others, a sample is the reading in force (zero-order hold). In both, nothing
// is held for longer than the track's StaleAfter, which is stated too. The
// transducer field has the signal's full name, the label as much of it as there
// is room for.
//
// A data record of which nothing is known is left out, and the file is then
// EDF+D. The patient field has the person's code and nothing else.
//
// How uncertain values are, and which are in doubt, annotations say, each linked to
// its signal as the format's standard texts have it (see quality).
//
// Its error wraps ErrRecording, ErrEmpty or edf.ErrRange, or is that of a track,
// of ctx or of the file system.
func EDF(ctx context.Context, r Recording, folder, base string, o EDFOptions) (EDFFile, error) {
	if err := r.check(); err != nil {
		return EDFFile{}, err
	}
	if o.IrregularRate == 0 {
		o.IrregularRate = DefaultIrregularRate
	}
	if !(o.IrregularRate > 0 && o.IrregularRate <= maxRate) {
		return EDFFile{}, fmt.Errorf("rate for irregular tracks is %v a second", o.IrregularRate)
	}
	l, err := r.layout(o.IrregularRate)
	if err != nil {
		return EDFFile{}, err
	}
	out := &output{folder: filepath.Clean(folder), replace: o.Replace}
	defer out.discard()
	p, err := out.create(base + ".edf")
	if err != nil {
		return EDFFile{}, err
	}
	e := &edfExport{r: &r, l: &l, m: newMeter(o.Options, &r.Header, 2)}
	if err := e.survey(ctx); err != nil {
		return EDFFile{}, err
	}
	if err := e.write(ctx, p); err != nil {
		return EDFFile{}, err
	}
	files, err := out.commit(ctx)
	if err != nil {
		return EDFFile{}, err
	}
	e.result.File = files[0]
	return e.result, nil
}

// An edfExport is one run of EDF.
type edfExport struct {
	r      *Recording
	l      *layout
	m      *meter
	result EDFFile

	// From the survey.
	records spans
	low     []float64 // of each signal, through all tracks
	high    []float64
	quality []quality
}

// survey goes through the recording for the first time: which records are there,
// and which values.
func (e *edfExport) survey(ctx context.Context) error {
	e.m.part("looking for the range of values and for gaps")
	for i := range e.r.Tracks {
		for range e.r.Tracks[i].Signals {
			e.low, e.high = append(e.low, math.NaN()), append(e.high, math.NaN())
			e.quality = append(e.quality, newQuality())
		}
	}
	wide := e.r.widened()
	g := wide.grid(ctx, e.l)
	defer g.stop()
	for {
		switch more, err := g.next(); {
		case err != nil:
			return err
		case !more && e.records.count == 0:
			return ErrEmpty
		case !more:
			e.m.done()
			return nil
		}
		e.records.add(g.index)
		signal := 0
		for i := range g.lanes {
			out := g.lanes[i].out
			n := len(out) / 3
			for k, samples := range out[:n] {
				e.low[signal], e.high[signal] = extend(e.low[signal], e.high[signal], samples)
				e.quality[signal].take(g, samples, out[n+k], out[2*n+k])
				signal++
			}
		}
		e.m.at(g.begin())
	}
}

// extend widens low and high, which may be NaN, to the known samples.
func extend(low, high float64, samples []float64) (float64, float64) {
	for _, v := range samples {
		if v < low || low != low && v == v {
			low = v
		}
		if v > high || high != high && v == v {
			high = v
		}
	}
	return low, high
}

// write goes through the recording for the second time.
func (e *edfExport) write(ctx context.Context, p *part) error {
	e.m.part("writing")
	g := e.r.grid(ctx, e.l)
	defer g.stop()
	first := g.from.Add(time.Duration(e.records.index(0)) * g.duration)
	base := floorSecond(first)
	texts, room, err := e.place(ctx, base, g.from)
	if err != nil {
		return err
	}
	h, err := e.header(base, room)
	if err != nil {
		return err
	}
	w, err := edf.NewWriter(p, h)
	if err != nil {
		return err
	}
	samples := make([][]int16, len(h.Signals)-1)
	for i := range samples {
		samples[i] = make([]int16, h.Signals[i].Samples)
	}
	for number := int64(0); ; number++ {
		more, err := g.next()
		if err != nil {
			return err
		}
		if !more {
			break
		}
		if number == e.records.count || e.records.index(number) != g.index {
			return fmt.Errorf("%w: it has changed while it was being exported", ErrRecording)
		}
		signal := 0
		for i := range g.lanes {
			for _, known := range g.lanes[i].out {
				e.result.Signals[signal].Clipped += digitize(samples[signal], known, h.Signals[signal].Scale)
				p.rows += int64(len(known))
				signal++
			}
		}
		if err := w.Record(g.begin().Sub(base), samples, texts[number]); err != nil {
			return err
		}
		e.m.at(g.begin())
	}
	e.account(g)
	e.m.done()
	return w.Close()
}

// digitize turns values into samples, and says how many were out of range.
func digitize(dst []int16, values []float64, scale edf.Scale) (clipped int64) {
	for k, v := range values {
		d, out := scale.Digital(v)
		if dst[k] = d; out {
			clipped++
		}
	}
	return clipped
}

// place finds room for the annotations.
func (e *edfExport) place(ctx context.Context, base, from sample.Instant) (texts map[int64][]byte, room int, err error) {
	all, longest, err := e.r.lists(ctx, base)
	if err != nil {
		return nil, 0, err
	}
	all, longest = e.qualities(base, all, longest)
	e.result.Annotations = len(all)
	onset := func(number int64) time.Duration {
		return from.Add(time.Duration(e.records.index(number)) * e.l.duration).Sub(base)
	}
	begin := func(at sample.Instant) int64 {
		if at < from {
			return 0
		}
		return e.records.at(int64(at.Sub(from) / e.l.duration))
	}
	most := edf.MaxRecord - e.l.samples
	// The last record has the longest onset, but for decimals, of which records
	// of whole milliseconds have three at most.
	room = edf.ListRoom(onset(e.records.count-1).Truncate(time.Second)+999*time.Millisecond) + longest
	for {
		room = min(room+room%2, most)
		if texts, ok := place(all, &e.records, onset, begin, room); ok {
			return texts, room, nil
		}
		if room == most {
			return nil, 0, fmt.Errorf("%w as EDF+: its %d annotations do not fit into %d data records",
				ErrRecording, len(all), e.records.count)
		}
		room *= 2
	}
}

// account completes the result.
func (e *edfExport) account(g *grid) {
	e.result.Records, e.result.Duration = int(e.records.count), e.l.duration
	signal := 0
	for i := range g.lanes {
		for range g.lanes[i].out {
			s := &e.result.Signals[signal]
			s.Repeated, s.Skipped = g.lanes[i].repeated, g.lanes[i].skipped
			signal++
		}
	}
}
