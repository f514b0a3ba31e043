package toll

import (
	"bytes"
	"context"
	"fmt"
	"iter"
	"strings"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/assembly"
	"weald/ingest/calib"
	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/matstat"
	"weald/stream/record"
)

// A stage is one step of a reading's way. It is shown the same minute of scans over
// and over, as time goes on.
type stage struct {
	name  string
	cells int         // of a scan
	scan  func(n int) // takes the n-th scan, from 0 on
	bare  func(n int) // the same memory in a plain loop; nil where that would be nothing
}

const (
	minute        = 60 // scans that are played over and over, one a second
	rows, columns = emulate.MatRows, emulate.MatColumns
	mat, wrap     = rows * columns, emulate.WrapChannels
)

// matConfig is a mat in seven regions with a hold for each cell; the other places are
// for rules that are none of its business.
const matConfig = `
bridges:
  - {id: hub, link: {file: {path: bed.cap}}, format: packed, sources: [{number: 1, id: mat, channels: 2048, rate: 1, calibration: {slope: 0.05, offset: 0, u: 3}}]}
places:
  - {id: bed-1, kind: bed, mat: {source: hub/mat, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}
rules:
  - {id: loaded, at: {place: bed-1}, limit: {watch: mat.pressure, above: 30}, on_delay: 30m, resets_after: 2m, priority: medium}
`

// wrapConfig is a wrap with others beside it, of which each has a rule of its own.
func wrapConfig(others int) string {
	var bridges, places, rules strings.Builder
	for i := range others + 1 {
		fmt.Fprintf(&bridges, "  - {id: hub-%d, link: {file: {path: leg.cap}}, format: packed, sources: [{number: 1, id: leg, channels: 4, rate: 1, calibration: {slope: 0.01, offset: 0, u: 1.5}}]}\n", i)
		fmt.Fprintf(&places, "  - {id: leg-%d, kind: wrap, sites: [{id: ankle, channels: [hub-%d/leg/0, hub-%d/leg/1]}, {id: calf, channels: [hub-%d/leg/2, hub-%d/leg/3]}]}\n", i, i, i, i, i)
		fmt.Fprintf(&rules, "  - {id: tight-%d, at: {place: leg-%d}, limit: {watch: ankle.pressure, above: 60}, on_delay: 30m, priority: low}\n", i, i)
	}
	return "bridges:\n" + bridges.String() + "places:\n" + places.String() + "rules:\n" + rules.String()
}

func planOf(text string, lean bool) *rules.Plan {
	c, problems := config.Parse("toll.yaml", []byte(text))
	if len(problems) > 0 {
		panic(problems)
	}
	plan := c.Plan()
	plan.Lean = lean
	return plan
}

// must is for what cannot fail unless this package is wrong.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// felt is a minute of a scenario at one scan a second: readings, and as many bytes.
func felt(scenario string) (raw [][]float64, sent [][]byte) {
	s := must(emulate.Named(scenario))
	stream := s.New(1, 1).(*emulate.Sampled)
	stream.Pace(1)
	loop := must(emulate.NewLoop(stream, time.Second, minute)).Play(1, 0)
	coding := frame.U12
	if scenario == "wrap" {
		coding = frame.U16
	}
	var scan emulate.Scan
	for n := range minute {
		if err := loop.Next(&scan); err != nil {
			panic(err)
		}
		raw = append(raw, append([]float64(nil), scan.Values...))
		sent = append(sent, must(frame.AppendWire(nil, frameOf(raw[n], n), coding)))
	}
	return raw, sent
}

// frameOf is the frame of the n-th scan of all.
func frameOf(raw []float64, n int) *frame.Frame {
	return &frame.Frame{Kind: frame.Readings, Source: 1, Seq: uint32(n), Millis: uint32(n) * 1000, Readings: raw, Top: 4095, Wall: sample.Never}
}

// at is when the n-th scan is taken.
func at(n int) sample.Instant { return sample.Instant(n) * sample.Instant(time.Second) }

// nobody hears what decoders and engines say.
type nobody struct{}

func (nobody) Frame(*frame.Frame)          {}
func (nobody) Bad(*frame.Bad)              {}
func (nobody) Alert(alert.Event)           {}
func (nobody) Updated(int, sample.Instant) {}
func (nobody) Late(int, *sample.Scan)      {}

const shown = "judge, remember, show: a wrap"

// alike are stages that must cost what others do, as they differ in what is none of the
// place's business.
var alike = map[string]string{
	"judge: a wrap beside 50 with rules of their own":                "judge: a wrap",
	"judge, remember, show: a wrap beside 200 that nobody watches":   shown,
	"judge, remember, show: a wrap beside one that a viewer watches": shown,
}

// ticked are those of them in which something also goes by the clock: a viewer is sent what
// is new ten times a second, which a busy machine does more often for the same scans.
var ticked = map[string]bool{"judge, remember, show: a wrap beside one that a viewer watches": true}

// stages are all stages, in the order of a reading's way.
func stages() []stage {
	raw, sent := felt("bed")
	values := make([][]float64, minute)
	line := must(calib.NewConverter(calib.Counts, mat, []calib.Line{{Slope: 0.05, U: 3}}))
	for n := range values {
		values[n] = make([]float64, mat)
		line.Convert(values[n], raw[n], 0, 4095)
	}
	to := make([]float64, mat)
	adds := func(n int) { sink += add(values[n%minute]) }
	moves := func(n int) { move(to, raw[n%minute]) }

	legs, _ := felt("wrap")
	for _, v := range legs {
		for i := range v {
			v[i] *= 0.01
		}
	}

	decoder := frame.NewPacked()
	assembler := must(assembly.New(assembly.Config{Channels: mat, Unit: calib.Counts, Lines: []calib.Line{{Slope: 0.05, U: 3}}, Period: time.Second}, func(*sample.Scan) {}))
	screen := must(ingest.NewScreen(&ingest.Source{ID: "mat", Channels: mat, Rows: rows, Columns: columns, Unit: calib.Counts, Calibration: []calib.Line{{Slope: 0.05}}}))
	plan := planOf(matConfig, true)
	areas := [][]int{make([]int, mat)}
	for i := range areas[0] {
		areas[0][i] = i
	}
	for _, r := range plan.Places[0].Mat.Regions {
		areas = append(areas, r.Cells)
	}
	regions := matstat.New(matstat.Grid{Rows: rows, Columns: columns, PitchMM: [2]float64{30, 28}}, areas, matstat.Patch{Rows: 1, Columns: 1})
	cells := hold.NewCells(mat, nil, hold.Spec{OnDelay: 30 * time.Minute, ResetsAfter: 2 * time.Minute}, hold.Above(30, 2))
	var buf []byte
	blocks := record.Block{Source: "hub/mat", Number: 1, Config: 1}
	for n := range 10 {
		blocks.Scans = append(blocks.Scans, record.Scan{Ord: uint64(n + 1), At: at(n), Arrived: at(n), Seq: uint32(n), Rail: 4095, Raw: raw[n]})
	}

	return []stage{
		{"decode: bytes to readings", mat, func(n int) { decoder.Feed(sent[n%minute], nobody{}) }, func(n int) { reads(to, sent[n%minute]) }},
		{"assemble: readings to a scan in mmHg", mat, func(n int) { assembler.Frame(frameOf(raw[n%minute], n), at(n)) }, moves},
		{"of it, convert: counts to mmHg", mat, func(n int) { line.Convert(to, raw[n%minute], 0, 4095) }, moves},
		{"screen: cells that do not answer", mat, func(n int) {
			screen.Pass(&sample.Scan{At: at(n), Raw: raw[n%minute], Values: to, Rail: 4095})
		}, nil},
		{"hold: each cell's threshold and duration", mat, func(n int) { cells.Advance(time.Second); cells.Set(values[n%minute]) }, adds},
		{"regions: peak, mean, area, load", mat, func(n int) { regions.Tally(values[n%minute], 5) }, adds},
		{"judge: both, of a place", mat, judge(plan, values), func(n int) { move(to, values[n%minute]); sink += add(to) }},
		{"judge: with all signals of a bed", mat, judge(planOf(matConfig, false), values), func(n int) { move(to, values[n%minute]); sink += add(to) }},
		{"all: bytes to holds of cells and regions", mat, whole(plan, raw), func(n int) { reads(to, sent[n%minute]); sink += add(to) }},
		{"keep: ten scans to a block", mat, func(n int) {
			if n%10 == 9 {
				buf = must(blocks.Append(buf[:0]))
			}
		}, moves},
		{"judge: a wrap", wrap, judge(planOf(wrapConfig(0), false), legs), nil},
		{"judge: a wrap beside 50 with rules of their own", wrap, judge(planOf(wrapConfig(50), false), legs), nil},
		{shown, wrap, among(0, false, legs), nil},
		{"judge, remember, show: a wrap beside 200 that nobody watches", wrap, among(200, false, legs), nil},
		{"judge, remember, show: a wrap beside one that a viewer watches", wrap, among(1, true, legs), nil},
	}
}

// judge gives the engine of a plan scans of its first source.
func judge(plan *rules.Plan, values [][]float64) func(n int) {
	engine := rules.NewEngine(plan, nobody{})
	var s sample.Scan
	return func(n int) {
		s.At, s.Arrived, s.Values = at(n), at(n), values[n%minute]
		engine.Scan(&s)
	}
}

// whole plays twenty minutes of bytes, over and over, through decoder, assembler and
// screen into the engine of a plan.
func whole(plan *rules.Plan, raw [][]float64) func(n int) {
	b := ingest.Bridge{ID: "hub", Format: ingest.Format{Kind: ingest.Packed}, Sources: []ingest.Source{{
		Number: 1, ID: "hub/mat", Channels: mat, Rows: rows, Columns: columns, Rate: 1, StaleAfter: 3 * time.Second,
		Unit: calib.Counts, Calibration: []calib.Line{{Slope: 0.05, U: 3}},
	}}}
	var recording []byte
	for n := range 20 * minute {
		recording = must(frame.AppendWire(recording, frameOf(raw[n%minute], n), frame.U12))
	}
	var next func() (*sample.Scan, error, bool)
	var engine *rules.Engine
	stop := func() {}
	return func(n int) {
		if n%(20*minute) == 0 {
			stop()
			p := must(ingest.NewPlayback(b, bytes.NewReader(recording), ingest.PlayOptions{}))
			next, stop = iter.Pull2(p.Scans(context.Background()))
			engine = rules.NewEngine(plan, nobody{})
		}
		s, err, _ := next()
		engine.Scan(must(s, err))
	}
}
