package export

import (
	"fmt"
	"strconv"
	"strings"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// header writes what the survey has found, and begins the result.
func (e *edfExport) header(base sample.Instant, room int) (edf.Header, error) {
	h, whose := &e.r.Header, e.r.Header.whose()
	start := base.Time().In(h.zone())
	kind := edf.Continuous
	if len(e.records.runs) > 1 {
		kind = edf.Discontinuous
	}
	e.result.Kind = kind
	// What is too long is cut, so that it takes no room from what is fixed; the
	// place is last, and is cut by what room there is.
	recording := edf.RecordingField(start, cut(ascii(whose.ID), 20), edf.Unstated, cut(ascii(h.program()), 16),
		zoneMark+start.Format("-07:00"), placeMark+h.Place)
	out := edf.Header{
		Patient:   edf.PatientField(cut(ascii(whose.Person), 74)),
		Recording: cut(recording, 80),
		Start:     start,
		Kind:      kind,
		Records:   int(e.records.count),
		Duration:  e.l.duration,
	}
	names := labels(e.r.Tracks)
	for i := range e.r.Tracks {
		t := &e.r.Tracks[i]
		for s := range t.Signals {
			n := len(out.Signals)
			signal, result, err := e.signal(i, s, names[n], e.low[n], e.high[n])
			if err != nil {
				return edf.Header{}, err
			}
			out.Signals, e.result.Signals = append(out.Signals, signal), append(e.result.Signals, result)
		}
	}
	out.Signals = append(out.Signals, edf.Annotations(room))
	return out, nil
}

// Marks of the further subfields of the recording field.
const (
	zoneMark  = "zone="
	placeMark = "place="
)

// signal describes signal s of track i.
func (e *edfExport) signal(i, s int, label string, low, high float64) (edf.Signal, EDFSignal, error) {
	t, lane := &e.r.Tracks[i], e.l.lanes[i]
	of := t.Signals[s]
	rangeLow, rangeHigh := of.Low, of.High
	if rangeLow == 0 && rangeHigh == 0 && low == low {
		rangeLow, rangeHigh = low, high
	}
	scale, err := edf.Fit(rangeLow, rangeHigh)
	if err != nil {
		return edf.Signal{}, EDFSignal{}, fmt.Errorf("signal %q: %w", of.Name, err)
	}
	if len(ascii(of.Unit)) > 8 {
		return edf.Signal{}, EDFSignal{}, fmt.Errorf("%w as EDF+: the unit %q of signal %q has more than 8 characters",
			ErrRecording, of.Unit, of.Name)
	}
	rate := strconv.FormatFloat(e.l.rate(i), 'g', 6, 64)
	how := "zero-order hold at " + rate
	if lane.regular {
		how = "nearest sample of " + rate
	}
	prefilter := fmt.Sprintf("%s/s, held <=%ss; step %s; %s", how, edf.AppendSeconds(nil, t.stale()),
		strconv.FormatFloat(round(scale.Step()), 'f', -1, 64), edf.UnknownRemark)
	return edf.Signal{
			Label: label, Transducer: cut(ascii(of.Name), 80), Dimension: ascii(of.Unit), Scale: scale,
			Prefilter: cut(prefilter, 80), Samples: lane.n,
		}, EDFSignal{
			Name: of.Name, Label: label, Rate: e.l.rate(i), Regular: lane.regular,
			Resolution: scale.Step(), Low: low, High: high,
		}, nil
}

// round takes the noise of a division out of a step, which has few digits.
func round(step float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(step, 'e', 3, 64), 64)
	if err != nil {
		return step
	}
	return v
}

// spelled are characters of units that have a usual spelling without them.
var spelled = strings.NewReplacer("°", "deg", "µ", "u", "μ", "u", "²", "2", "³", "3")

// ascii returns s with a question mark for each character that a header cannot
// have.
func ascii(s string) string {
	s = strings.TrimSpace(spelled.Replace(s))
	return strings.Map(func(r rune) rune {
		if r < 32 || r > 126 {
			return '?'
		}
		return r
	}, s)
}

func cut(s string, width int) string { return strings.TrimRight(s[:min(len(s), width)], " ") }

// labels returns a label for every signal of all tracks: its name, or as much of
// it as 16 characters can say, with a number where that is not unique.
func labels(tracks []Track) []string {
	var all []string
	seen := map[string]bool{edf.AnnotationsLabel: true}
	for i := range tracks {
		for _, s := range tracks[i].Signals {
			name := ascii(s.Name)
			label := cut(name, 16)
			for n := 2; seen[label] || label == ""; n++ {
				mark := "~" + strconv.Itoa(n)
				label = cut(name, 16-len(mark)) + mark
			}
			seen[label] = true
			all = append(all, label)
		}
	}
	return all
}
