package config

import (
	"math"
	"slices"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/calib"
)

// lines returns the line of each channel, or nil where the source has none.
func (r *reader) lines(s shape.Source, channels int, path tree.Path) []calib.Line {
	if len(s.Calibration) == 0 {
		if r.doc.Has(path) {
			r.doc.Report(path, "calibration is an empty list: give a line, or leave it out")
		}
		return nil
	}
	if s.Unit == string(MMHg) {
		r.doc.Report(path, "calibration turns counts into mmHg, but the unit is mmHg already: leave out one of them")
		return nil
	}
	out := make([]calib.Line, channels)
	for i := range out {
		out[i] = calib.None
	}
	for i, l := range s.Calibration {
		r.line(out, l, path.With(i))
	}
	return out
}

// line fills in the channels that l is for.
func (r *reader) line(out []calib.Line, l shape.Line, path tree.Path) {
	if l.Slope == 0 {
		r.doc.Report(path.With("slope"), "slope is 0, so every reading would be the same pressure: give mmHg per count")
		return
	}
	line := calib.Line{Slope: l.Slope, Offset: l.Offset, U: math.NaN()}
	if l.U != nil {
		line.U = *l.U
	}
	for k, span := range orAll(l.Channels, len(out)) {
		at := path.With("channels", k)
		if len(l.Channels) == 0 {
			at = path
		}
		if span.Last >= len(out) {
			if len(out) > 0 {
				r.doc.Report(at, "%s is channel %d, but the source has channels 0 to %d", at.Name(), span.Last, len(out)-1)
			}
			continue
		}
		for ch := span.First; ch <= span.Last; ch++ {
			if !out[ch].IsNone() {
				r.doc.Report(at, "channel %d has a line already: give each channel one, with channels", ch)
				break
			}
			out[ch] = line
		}
	}
}

func orAll(spans []shape.Range, channels int) []shape.Range {
	if len(spans) > 0 || channels == 0 {
		return spans
	}
	return []shape.Range{{First: 0, Last: channels - 1}}
}

// A made is a calibration that many sources of one make have.
type made struct {
	lines []calib.Line
	u     []float64
}

// alike returns lines and their uncertainties, for sources with equal ones the
// same ones: a ward of mats has a hundred thousand channels and one calibration.
func (r *reader) alike(lines []calib.Line) ([]calib.Line, []float64) {
	for _, k := range r.makes {
		if slices.EqualFunc(k.lines, lines, func(a, b calib.Line) bool {
			return a.Slope == b.Slope && a.Offset == b.Offset && (a.U == b.U || a.U != a.U && b.U != b.U)
		}) {
			return k.lines, k.u
		}
	}
	k := made{lines, uncertainties(lines)}
	r.makes = append(r.makes, k)
	return k.lines, k.u
}

// uncertainties returns those of a source's channels in mmHg, or nil where none
// is stated.
func uncertainties(lines []calib.Line) []float64 {
	var u []float64
	for i, l := range lines {
		if math.IsNaN(l.U) {
			continue
		}
		if u == nil {
			u = make([]float64, len(lines))
			for k := range u {
				u[k] = math.NaN()
			}
		}
		u[i] = l.U
	}
	return u
}
