package rules_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
)

// ward is n places, half of them wraps and half seats, each with a source of its
// own and ten rules of every kind that it can have.
func ward(n int) *rules.Plan {
	plan := &rules.Plan{}
	for i := range n {
		plan.Sources = append(plan.Sources, rules.Source{ID: fmt.Sprintf("b/%d", i), Channels: 2, StaleAfter: time.Second, Calibrated: true})
		p := rules.Place{ID: fmt.Sprintf("wrap-%d", i), Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: i}}}, {ID: "calf", Channels: []rules.Channel{{Source: i, Index: 1}}}}}
		if i%2 == 1 {
			p.ID, p.Kind = fmt.Sprintf("seat-%d", i), rules.Seat
			p.Sites[0].ID, p.Sites[1].ID = "left", "right"
		}
		plan.Places = append(plan.Places, p)
	}
	exposed := func(model string) *rules.Exposure {
		return &rules.Exposure{Model: model, Share: 0.8, Floor: 20, Recovery: time.Hour}
	}
	for i, r := range []rules.Rule{
		{Limit: &rules.Limit{Watch: "ankle.pressure", Above: ptr(60)}, OnDelay: 30 * time.Second},
		{Limit: &rules.Limit{Watch: "calf.residual", Above: ptr(100)}, OnDelay: time.Minute, While: "still"},
		{Graduation: &rules.Graduation{Ratio: 0.8}},
		{Exposure: exposed(exposure.LinderGanz)}, // of both sites
		{Rate: &rules.Rate{Watch: "ankle.pressure", Fall: 5, Per: time.Minute, Window: 10 * time.Minute}},
		{Rate: &rules.Rate{Watch: "calf.pressure", Rise: 5, Per: time.Minute, Window: time.Minute}},
		{Drift: &rules.Drift{Site: "ankle", By: 9.4, Settle: 90 * time.Minute}},
		{Drift: &rules.Drift{Site: "calf", By: 9.4, Settle: 90 * time.Minute}},
		{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Watch: "ankle.swing", Below: ptr(5)}}},
		{Formula: "ankle.pressure - calf.pressure < 3 and still and not (walking or bending)"},
		{Limit: &rules.Limit{Watch: "left.pressure", Above: ptr(160)}, OnDelay: time.Hour},
		{Limit: &rules.Limit{Watch: "right.pressure", Above: ptr(160)}, OnDelay: time.Hour},
		seated(30 * time.Minute), seated(time.Hour), seated(2 * time.Hour),
		{At: rules.Where{Kind: rules.Seat}, Exposure: exposed(exposure.ReswickRogers)},
		{Rate: &rules.Rate{Watch: "left.pressure", Fall: 50, Per: time.Second, Window: 10 * time.Second}},
		{Rate: &rules.Rate{Watch: "right.pressure", Fall: 50, Per: time.Second, Window: 10 * time.Second}},
		{Formula: "left.pressure > 2 * right.pressure and occupied"},
	} {
		if r.At.Kind == "" {
			r.At.Kind = rules.Wrap
			if i >= 10 {
				r.At.Kind = rules.Seat
			}
		}
		r.ID, r.Priority, r.ForgetAfter = fmt.Sprintf("r%d", i), alert.Low, rules.DefaultForgetAfter
		plan.Rules = append(plan.Rules, r)
	}
	return plan
}

// drive feeds the n-th scan of every place, at ten a second: rests, walks and
// fidgets, each place at its own phase.
func drive(e *rules.Engine, s *sample.Scan, places, n int) {
	at := sample.Instant(n) * 100e6
	for i := range places {
		t := float64(n)/10 + float64(i)
		swing := 0.0
		if int(t)%60 < 20 {
			swing = 12 * (1 - math.Cos(2*math.Pi*0.9*t)) / 2
		}
		s.Source, s.At, s.Arrived = i, at, at
		s.Values[0], s.Values[1] = 42+swing, 30+swing/2
		e.Scan(s)
	}
	e.Tick(at)
}

// 500 places with ten rules at ten scans a second: how much of a core.
func BenchmarkWardOfRules(b *testing.B) {
	const places = 500
	plan := ward(places)
	if found := plan.Check(); len(found) > 0 {
		b.Fatal(found)
	}
	e := rules.NewEngine(plan, nobody{})
	s := &sample.Scan{Values: make([]float64, 2)}
	n := 0
	for ; n < 600; n++ {
		drive(e, s, places, n)
	}
	b.ReportAllocs()
	for b.Loop() {
		drive(e, s, places, n)
		n++
	}
	perRound := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	b.ReportMetric(perRound/places, "ns/scan")
	b.ReportMetric(perRound*10/1e9, "cores") // ten rounds a second
}

func TestSteadyRulesDoNotAllocate(t *testing.T) {
	plan := ward(2)
	if found := plan.Check(); len(found) > 0 {
		t.Fatal(found)
	}
	e := rules.NewEngine(plan, nobody{})
	s := &sample.Scan{Values: make([]float64, 2)}
	n := 0
	for ; n < 200; n++ { // at rest from 20 s of each minute on
		drive(e, s, 2, n)
	}
	// The sentences of what is raised and cleared are made when that happens;
	// 30 seconds in which nothing does must not allocate.
	for ; n < 260; n++ {
		drive(e, s, 2, n)
	}
	if got := testing.AllocsPerRun(200, func() {
		drive(e, s, 2, n)
		n++
	}); got != 0 {
		t.Errorf("%v allocations a round, want none", got)
	}
}

// A mat with everything that is measured of it.
func TestSteadyMatsDoNotAllocate(t *testing.T) {
	plan := bed(8, 8, rules.Rule{ID: "spent", Exposure: &rules.Exposure{Model: exposure.LinderGanz, Share: 0.8, Floor: 20}, Priority: alert.Low, ForgetAfter: time.Minute})
	allocatesNothing(t, plan, sample.Scan{Values: make([]float64, 64)})
}

// surely gives a scan everything that only a calibration record knows.
func surely(s *sample.Scan) {
	n := len(s.Values)
	s.U, s.Shared, s.Extrapolated, s.Expired = repeat(1, n), repeat(0.5, n), make([]bool, n), make([]bool, n)
	s.Raw, s.Rail, s.Withheld = s.Values, 4095, []int{3, 17}
}

func TestSteadyQualityDoesNotAllocate(t *testing.T) {
	rule := faulty(rules.Faults...)
	rule.OnDelay = time.Hour
	s := sample.Scan{Values: make([]float64, 64)}
	surely(&s)
	allocatesNothing(t, bed(8, 8, rule), s)
}

// What one scan of a 2,048-cell mat costs more where each cell has an uncertainty,
// and where the quality of all of them is asked for.
func BenchmarkMatQuality(b *testing.B) {
	const rows, columns = 64, 32
	rule := faulty(rules.Faults...)
	rule.OnDelay = time.Hour
	for _, c := range []struct {
		name string
		sure bool
		of   []rules.Rule
	}{{"nothing known", false, nil}, {"uncertainties", true, nil}, {"quality", true, []rules.Rule{rule}}} {
		b.Run(c.name, func(b *testing.B) {
			plan := bed(rows, columns, c.of...)
			plan.Lean = true
			e := rules.NewEngine(plan, nobody{})
			s := sample.Scan{Values: make([]float64, rows*columns)}
			for i := range s.Values {
				s.Values[i] = math.Max(0, 80*math.Sin(float64(i)/37)*math.Cos(float64(i%columns)/9))
			}
			if c.sure {
				surely(&s)
			}
			b.ReportAllocs()
			for b.Loop() {
				s.At = s.At.Add(time.Second)
				s.Arrived = s.At
				e.Scan(&s)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows/columns, "ns/cell")
		})
	}
}

// What one scan of a 2,048-cell mat costs with an exposure of every cell.
func BenchmarkMatExposure(b *testing.B) {
	const rows, columns = 64, 32
	plan := bed(rows, columns, rules.Rule{ID: "spent", Exposure: &rules.Exposure{Model: exposure.LinderGanz, Share: 1e6, Floor: 20, Recovery: time.Hour}, Priority: alert.Low, ForgetAfter: time.Minute})
	for _, lean := range []bool{false, true} {
		plan.Lean = lean
		b.Run(map[bool]string{false: "all signals", true: "lean"}[lean], func(b *testing.B) {
			e := rules.NewEngine(plan, nobody{})
			values := make([]float64, rows*columns)
			for i := range values {
				values[i] = math.Max(0, 120*math.Sin(float64(i)/37)*math.Cos(float64(i%columns)/9))
			}
			s := sample.Scan{Values: values}
			b.ReportAllocs()
			for b.Loop() {
				s.At = s.At.Add(time.Second)
				s.Arrived = s.At
				e.Scan(&s)
			}
		})
	}
}
