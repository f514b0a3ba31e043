package export

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// ReadEDF returns the recording in an EDF, EDF+ or BDF file, and the departures
// from the format that the header shows. In Strict mode a departure is an error.
// The samples are read when a track is ranged over, and the file is opened anew
// for that each time; the annotations are read at once.
//
// Signals with the same number of samples in a record are one track. The lowest
// sample of signals that say so is unknown. A file without a zone of this
// program is taken to be in zone, or in UTC if that is nil: the format itself
// has none.
func ReadEDF(path string, mode edf.Mode, zone *time.Location) (Recording, []string, error) {
	f := &edfFile{path: path, mode: mode}
	in, er, err := f.open()
	if err != nil {
		return Recording{}, nil, err
	}
	defer in.Close()
	h := er.Header()
	start, zone := startOf(h, zone)
	f.start = sample.At(start)
	r := Recording{Header: headerOf(h, zone)}
	notes, end, err := f.annotations(er)
	if err != nil {
		return Recording{}, nil, err
	}
	r.Header.Start, r.Header.End = f.start, f.start.Add(max(end, 1))
	r.Annotations = func(yield func(Annotation, error) bool) {
		for _, a := range notes {
			if !yield(a, nil) {
				return
			}
		}
	}
	byCount := map[int]int{}
	var columns [][]int
	for i := range h.Signals {
		s := &h.Signals[i]
		if s.IsAnnotations() || s.Samples == 0 || h.Duration <= 0 {
			continue
		}
		t, known := byCount[s.Samples]
		if !known {
			t = len(r.Tracks)
			byCount[s.Samples] = t
			r.Tracks, columns = append(r.Tracks, Track{Rate: s.Rate(h.Duration), StaleAfter: step(h, s)}), append(columns, nil)
		}
		r.Tracks[t].Signals = append(r.Tracks[t].Signals, Signal{Name: nameOf(s, i, h), Unit: s.Dimension})
		columns[t] = append(columns[t], i)
	}
	for t := range r.Tracks {
		r.Tracks[t].Rows = f.rows(columns[t])
	}
	return r, er.Problems(), nil
}

// step is the time between the samples of s, rounded up. A sample lasts no
// longer: what was held is already in the file.
func step(h *edf.Header, s *edf.Signal) time.Duration {
	n := time.Duration(s.Samples)
	return (h.Duration + n - 1) / n
}

// An edfFile is a file that is read more than once.
type edfFile struct {
	path  string
	mode  edf.Mode
	start sample.Instant
}

func (f *edfFile) open() (io.Closer, *edf.Reader, error) {
	in, err := os.Open(f.path)
	if err != nil {
		return nil, nil, err
	}
	r, err := edf.NewReader(in, f.mode)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", f.path, errors.Join(err, in.Close()))
	}
	return in, r, nil
}

// annotations reads the whole file for its texts, and for when it ends.
func (f *edfFile) annotations(r *edf.Reader) (all []Annotation, end time.Duration, err error) {
	var raw []edf.Annotation
	for rec, err := range r.Records() {
		if err != nil {
			return nil, 0, fmt.Errorf("%s: %w", f.path, err)
		}
		raw = append(raw, rec.Annotations...)
		end = max(end, rec.Onset+r.Header().Duration)
	}
	slices.SortStableFunc(raw, func(a, b edf.Annotation) int { return cmp.Compare(a.Onset, b.Onset) })
	for _, a := range join(raw) {
		n := annotationOf(a.Text)
		n.At, n.Duration = f.start.Add(a.Onset), a.Duration
		all = append(all, n)
	}
	return all, end, nil
}

// sentenceForm is how sentences of annotations look that can be taken apart.
var sentenceForm = regexp.MustCompile(`^(alert|mark|fault)(?: (\S+?))?(?: \(([^,()]+), ([^,()]+), ([^,()]+)\))?(?:: ((?s:.*)))?$`)

// sessionForm is how a session is written.
var sessionForm = regexp.MustCompile(`^session (\S+) \((\S+)\)$`)

// annotationOf takes the kind, and what happened, off a sentence. What does not
// look like one of ours stays as it is.
func annotationOf(text string) Annotation {
	if m := sessionForm.FindStringSubmatch(text); m != nil {
		return Annotation{Kind: Sat, What: m[1], Subject: m[2]}
	}
	m := sentenceForm.FindStringSubmatch(text)
	if m == nil {
		return Annotation{Kind: Text, Text: text}
	}
	return Annotation{Kind: Kind(m[1]), What: m[2], Rule: m[3], Subject: m[4], Priority: m[5], Text: m[6]}
}

// rows yields the samples of some signals as rows.
func (f *edfFile) rows(columns []int) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		in, r, err := f.open()
		if err != nil {
			yield(Row{}, err)
			return
		}
		defer in.Close()
		h := r.Header()
		row := Row{Values: make([]float64, len(columns))}
		for rec, err := range r.Records() {
			if err != nil {
				yield(Row{}, fmt.Errorf("%s: %w", f.path, err))
				return
			}
			n := h.Signals[columns[0]].Samples
			for k := range n {
				row.At = f.start.Add(rec.Onset + h.Duration*time.Duration(k)/time.Duration(n))
				for c, i := range columns {
					row.Values[c] = valueOf(&h.Signals[i], rec.Samples[i][k])
				}
				if !yield(row, nil) {
					return
				}
			}
		}
	}
}

// valueOf returns what a sample means, NaN where it is unknown or where the
// file gives no scale that means anything.
func valueOf(s *edf.Signal, d int32) float64 {
	if d == edf.UnknownDigital && strings.HasSuffix(s.Prefilter, edf.UnknownRemark) {
		return sample.Unknown
	}
	return finite(s.Scale.Physical(int(d)))
}

// nameOf returns a name that is unique in the file: of files of this program
// the full one.
func nameOf(s *edf.Signal, i int, h *edf.Header) string {
	name := s.Label
	if strings.HasSuffix(s.Prefilter, edf.UnknownRemark) && s.Transducer != "" {
		name = s.Transducer
	}
	for j := range i {
		if h.Signals[j].Label == s.Label {
			return fmt.Sprintf("%s #%d", name, i+1)
		}
	}
	return name
}

// startOf returns the start of a file with the zone that it was in.
func startOf(h *edf.Header, zone *time.Location) (time.Time, *time.Location) {
	if zone == nil {
		zone = time.UTC
	}
	for _, s := range strings.Fields(h.Recording) {
		if at, ok := strings.CutPrefix(s, zoneMark); ok {
			if t, err := time.Parse("-07:00", at); err == nil {
				_, offset := t.Zone()
				zone = time.FixedZone(at, offset)
			}
		}
	}
	t := h.Start
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, zone), zone
}

// headerOf takes what EDF+ says in its two fields of text.
func headerOf(h *edf.Header, zone *time.Location) Header {
	out := Header{Zone: zone}
	stated := func(s string) string {
		if s == edf.Unstated {
			return ""
		}
		return s
	}
	if f := strings.Fields(h.Patient); h.Kind != edf.Plain && len(f) > 0 {
		out.Person = stated(f[0])
	}
	if f := strings.Fields(h.Recording); h.Kind != edf.Plain && len(f) > 4 && f[0] == "Startdate" {
		out.Session, out.Program = stated(f[2]), stated(f[4])
		for _, s := range f[5:] {
			if place, ok := strings.CutPrefix(s, placeMark); ok {
				out.Place = stated(place)
			}
		}
	}
	return out
}
