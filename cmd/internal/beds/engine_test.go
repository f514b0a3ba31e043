package beds

import (
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/turning"
)

// A ward is an engine with one bed, which counts what it is told.
type ward struct {
	*rules.Engine
	raised, cleared int
}

func (w *ward) Alert(e alert.Event) {
	switch e.What {
	case alert.Raised:
		w.raised++
	case alert.Cleared:
		w.cleared++
	}
}
func (w *ward) Updated(int, sample.Instant) {}
func (w *ward) Late(int, *sample.Scan)      {}

func newWard(t *testing.T, interval time.Duration) *ward {
	t.Helper()
	m := PosturesMat()
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "hub/mat", Channels: m.Rows * m.Columns, StaleAfter: 3 * time.Second, Calibrated: true}},
		Places: []rules.Place{{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{
			Rows: m.Rows, Columns: m.Columns, PitchMM: m.PitchMM, Head: m.Head, FromBelow: m.FromBelow, LoadedAbove: 20,
		}}},
		Rules: []rules.Rule{{
			ID: "turn-due", Priority: alert.Low, ForgetAfter: rules.DefaultForgetAfter,
			Turn: &rules.Turn{Interval: interval, Settle: turning.DefaultSettle},
		}},
	}
	if problems := plan.Check(); len(problems) > 0 {
		t.Fatal(problems)
	}
	w := &ward{}
	w.Engine = rules.NewEngine(plan, w)
	return w
}

func (w *ward) hear(at time.Duration, values []float64) {
	i := sample.Instant(at)
	w.Scan(&sample.Scan{At: i, Arrived: i, Values: values})
}

func (w *ward) signal(t *testing.T, name string) float64 {
	t.Helper()
	for _, s := range w.Signals(0) {
		if s.Name == name {
			return s.Value
		}
	}
	t.Fatalf("no signal %s", name)
	return 0
}

// A night of every subject through the engine: a rule that asks for a turn in 9
// minutes is raised in the parts that are longer, cleared with the turn that
// follows, and knows the side.
func TestTurnsThroughTheEngine(t *testing.T) {
	dir := recordings(t)
	subjects, err := Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range subjects {
		n := Night{Seed: uint64(i), Parts: []Part{
			part(t, dir, name, 1, 5*time.Minute), part(t, dir, name, 2, 11*time.Minute), part(t, dir, name, 7, 5*time.Minute),
		}}
		w := newWard(t, 9*time.Minute)
		n.Each(func(m Moment) { w.hear(m.At, m.Values) })
		if w.raised != 1 || w.cleared != 1 || w.signal(t, "turn.count") != 2 || w.signal(t, "on_left") != 1 || w.signal(t, "occupied") != 1 {
			t.Errorf("%s: raised %d times and cleared %d, %v turns, on_left %v, occupied %v; want 1, 1, 2, 1, 1", name,
				w.raised, w.cleared, w.signal(t, "turn.count"), w.signal(t, "on_left"), w.signal(t, "occupied"))
		}
	}
}

// A bed with bedding on it, heavier than any is (4 mmHg everywhere are 54 kg on
// a square metre), is empty, and with somebody in it is not.
func TestBeddingIsNobody(t *testing.T) {
	dir := recordings(t)
	subjects, err := Subjects(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, mmHg := range []float64{0, 1, 4} {
		w := newWard(t, time.Hour)
		bedding := make([]float64, 2048)
		for i := range bedding {
			bedding[i] = mmHg * (0.8 + 0.4*float64(i*7919%100)/100)
		}
		at := time.Duration(0)
		for ; at < 2*time.Minute; at += time.Second {
			w.hear(at, bedding)
		}
		if got := w.signal(t, "occupied"); got != 0 {
			t.Errorf("with bedding of %v mmHg occupied is %v", mmHg, got)
		}
		maps, err := Postures(dir, subjects[0], 60)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range maps {
			values := make([]float64, 2048)
			for i := range values {
				values[i] = bedding[i] + mmHgPerCount*m.Values[i]
			}
			at += time.Second
			w.hear(at, values)
			if got := w.signal(t, "occupied"); got != 1 {
				t.Errorf("recording %d with bedding of %v mmHg: occupied is %v", m.File, mmHg, got)
			}
		}
	}
}
