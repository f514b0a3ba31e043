package export

import "weald/ingest/sample"

// Options are those of all formats.
type Options struct {
	// Replace allows to replace files that exist.
	Replace bool
	// Progress, if not nil, is called on the goroutine of the export, at most
	// a hundred times for each part of it.
	Progress func(Progress)
}

// A Progress says how far an export has come.
type Progress struct {
	Part  int     // from 1
	Parts int     // how many there are; they need not take equally long
	Doing string  // in plain words
	Share float64 // of the part's stretch of time: 0 to 1
}

// A File is one file that an export has written.
type File struct {
	Path  string
	Bytes int64
	Rows  int64 // of a table; samples of all signals in EDF+, those that are known in FHIR
}

// meter turns instants into calls of Progress.
type meter struct {
	tell       func(Progress)
	p          Progress
	start, end sample.Instant
	percent    int
}

// part begins the next part.
func (m *meter) part(doing string) {
	m.p.Part++
	m.p.Doing, m.p.Share, m.percent = doing, 0, 0
	if m.tell != nil {
		m.tell(m.p)
	}
}

// at tells that the part has come to at.
func (m *meter) at(at sample.Instant) {
	share := float64(at-m.start) / float64(m.end-m.start)
	if percent := int(100 * share); m.tell != nil && percent > m.percent && percent < 100 {
		m.percent, m.p.Share = percent, float64(percent)/100
		m.tell(m.p)
	}
}

// done ends a part.
func (m *meter) done() {
	if m.p.Share = 1; m.tell != nil {
		m.tell(m.p)
	}
}

func newMeter(o Options, h *Header, parts int) *meter {
	return &meter{tell: o.Progress, p: Progress{Parts: parts}, start: h.Start, end: h.End}
}
