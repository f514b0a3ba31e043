// Package rules judges readings by threshold and duration.
package rules

import "weald/ingest/sample"

// An Engine judges the scans of all places. It reads no clock, owns no
// goroutine and does no I/O.
type Engine struct{}

// Check returns every problem of the plan, in the order of its fields.
func (p *Plan) Check() []Problem { return nil }

// NewEngine compiles a plan that Check found nothing wrong with.
func NewEngine(p *Plan, sink Sink) *Engine { return &Engine{} }

// Scan feeds one scan; s may be reused when Scan has returned.
func (e *Engine) Scan(s *sample.Scan) {}

// Tick lets time pass to now on the host's clock.
func (e *Engine) Tick(now sample.Instant) {}

// Next returns when Tick wants to be called next, or sample.Never.
func (e *Engine) Next() sample.Instant { return sample.Never }

// Finish evaluates what is still waiting and ends at the last reading.
func (e *Engine) Finish() {}

// Signals returns the present signals of a place. The slice is the engine's.
func (e *Engine) Signals(place int) []Signal { return nil }

// Cells returns the present cells of a place's mat; false without a mat. The
// slices are the engine's.
func (e *Engine) Cells(place int) (Cells, bool) { return Cells{}, false }

// Progress appends the holds of a place to dst.
func (e *Engine) Progress(place int, dst []Progress) []Progress { return dst }
