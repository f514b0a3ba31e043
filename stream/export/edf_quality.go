package export

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// A quality is what annotations say of one signal: between which bounds the standard
// uncertainty of its values is, and when they were in doubt and for what. EDF+ has no field
// for either. An annotation that is of one signal ends in "@@" and its label
// (edfplus.info/specs/edftexts.html, 3.3).
type quality struct {
	of        run // samples that are known
	certain   int64
	low, high float64 // of the uncertainties
	doubts    [2][]run
}

// A run is samples from the first to the last that are so, with others among them.
type run struct {
	from, to        sample.Instant // to is where the last one ends
	count, known    int64          // how many are so, and how many are known until then
	knownAtTheStart int64
}

// why are the doubts, in the order of quality.doubts, and what an annotation says.
var why = [...]struct {
	Doubt
	text string
}{{Extrapolated, "outside of the calibrated range"}, {Expired, "by a calibration past its date"}}

func newQuality() quality { return quality{low: math.NaN(), high: math.NaN()} }

// take adds the samples of a record.
func (q *quality) take(g *grid, values, us, doubts []float64) {
	q.low, q.high = extend(q.low, q.high, us)
	step := g.duration / time.Duration(len(values))
	for k, v := range values {
		if v != v {
			continue
		}
		at := g.begin().Add(g.duration * time.Duration(k) / time.Duration(len(values)))
		if q.of.count == 0 {
			q.of.from = at
		}
		q.of.count, q.of.to = q.of.count+1, at.Add(step)
		if us[k] == us[k] {
			q.certain++
		}
		for i := range why {
			if d := doubts[k]; d == d && Doubt(d)&why[i].Doubt != 0 {
				q.doubt(i, at, q.of.to)
			}
		}
	}
}

// doubt adds a sample to the last run of a doubt, or begins one where the last was over for
// longer than a minute, so that what comes and goes does not fill the file.
func (q *quality) doubt(i int, at, to sample.Instant) {
	runs := q.doubts[i]
	if n := len(runs); n == 0 || at.Sub(runs[n-1].to) > longestGap {
		q.doubts[i] = append(runs, run{from: at, knownAtTheStart: q.of.count - 1})
	}
	r := &q.doubts[i][len(q.doubts[i])-1]
	r.to, r.count, r.known = to, r.count+1, q.of.count-r.knownAtTheStart
}

// qualities adds what is to be said of all signals to annotations, in order of time.
func (e *edfExport) qualities(base sample.Instant, all []list, longest int) ([]list, int) {
	names := labels(e.r.Tracks)
	signal := 0
	for i := range e.r.Tracks {
		for _, s := range e.r.Tracks[i].Signals {
			q, label := &e.quality[signal], names[signal]
			say := func(r *run, text string, part, whole int64) {
				if part < whole {
					text += fmt.Sprintf(" (%d of %d samples)", part, whole)
				}
				b := edf.AppendTAL(nil, r.from.Sub(base), r.to.Sub(r.from), edf.CleanText(text+"@@"+label))
				all, longest = append(all, list{r.from, b}), max(longest, len(b))
			}
			if q.certain > 0 {
				say(&q.of, "standard uncertainty "+between(q.low, q.high, s.Unit), q.certain, q.of.count)
			}
			for k := range why {
				for r := range q.doubts[k] {
					say(&q.doubts[k][r], why[k].text, q.doubts[k][r].count, q.doubts[k][r].known)
				}
			}
			signal++
		}
	}
	slices.SortStableFunc(all, func(a, b list) int { return cmp.Compare(a.at, b.at) })
	return all, longest
}

// between says bounds with three significant digits.
func between(low, high float64, unit string) string {
	text := strconv.FormatFloat(low, 'g', 3, 64)
	if upper := strconv.FormatFloat(high, 'g', 3, 64); upper != text {
		text += " to " + upper
	}
	if unit != "" {
		text += " " + unit
	}
	return text
}
