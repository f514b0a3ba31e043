package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

// keptOnce fails for every change of a record that is there twice. See repeated for
// what it cannot tell; sameAlerts, which counts what is alike, can.
func keptOnce(t *testing.T, live []string) {
	t.Helper()
	for _, r := range repeated(t, live) {
		t.Errorf("kept twice, as change %d and %d of %d: %s", r[0], r[1], len(live), live[r[1]])
	}
}

// repeated lists changes, by their places, that are the same as one before. Two that
// are alike need not be one: where several scans are of one instant, each of them may
// change an alert, back and forth. So changes that are alike are two if the alert changed
// in another way between them, and at no other instant. What is kept twice is then taken
// for two only if all of it is of that instant and ends in another way than it began.
func repeated(t *testing.T, live []string) (pairs [][2]int) {
	t.Helper()
	lines := make([]eventLine, len(live))
	last := map[string]int{} // by the whole line
	of := map[string][]int{} // by id: the changes of an alert
	for i, text := range live {
		if err := json.Unmarshal([]byte(text), &lines[i]); err != nil {
			t.Fatal(err)
		}
		id, at := lines[i].ID, lines[i].At
		if before, twice := last[text]; twice {
			between := of[id][slices.Index(of[id], before)+1:]
			if len(between) == 0 || slices.ContainsFunc(between, func(k int) bool { return lines[k].At != at }) {
				pairs = append(pairs, [2]int{before, i})
			}
		}
		last[text] = i
		of[id] = append(of[id], i)
	}
	return pairs
}

// framesOnce fails for every frame of some sources that is in a record twice: what comes of
// it then is doubled in a rehearsal as well. A device that starts again gives its numbers
// anew, but not for the same instant.
func framesOnce(t *testing.T, dir string, sources ...string) {
	t.Helper()
	store, done := recordIn(t, dir)
	defer done()
	type frame struct {
		source             string
		first, seq, millis uint32
		at                 sample.Instant
	}
	seen := map[frame]uint64{}
	for in, err := range store.Inputs(t.Context(), 1, math.MaxUint64) {
		if err != nil {
			t.Fatal(err)
		}
		if in.Scan == nil || !slices.Contains(sources, in.Source) {
			continue
		}
		f := frame{in.Source, in.Scan.First, in.Scan.Seq, in.Scan.Millis, in.Scan.At}
		if in.Source != "rough/leg" { // whose device alone starts again
			f.at = 0
		}
		if before, twice := seen[f]; twice {
			t.Errorf("a frame is kept twice, as input %d and %d: %+v", before, in.Ord, f)
		}
		seen[f] = in.Ord
	}
	if len(seen) < 100 {
		t.Errorf("%d frames are too few to prove anything", len(seen))
	}
}

// printer writes down the changes of alerts as a rehearsal prints them.
type printer struct {
	t     *testing.T
	lines []string
}

func (p *printer) Alert(e alert.Event)       { p.lines = append(p.lines, printed(p.t, &e)) }
func (*printer) Updated(int, sample.Instant) {}
func (*printer) Late(int, *sample.Scan)      {}

// Three scans of one instant, of which the first and the last have no reading, change a
// raised alert three times, and twice alike: nothing is kept twice there. What is, is found.
func TestWhatIsKeptTwice(t *testing.T) {
	c, problems := config.Parse("leg.yaml", []byte(`
bridges:
  - {id: hub, link: {file: {path: leg.cap}}, format: packed, sources: [{number: 1, id: leg, channels: 1, rate: 1, unit: mmHg, stale_after: 3s}]}
places:
  - {id: leg-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 50}, on_delay: 2s, off_delay: 2s, priority: low}
`))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	p := &printer{t: t}
	engine := rules.NewEngine(c.Plan(), p)
	at := sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	scan := func(value float64) {
		engine.Scan(&sample.Scan{At: at, Arrived: at, Values: []float64{value}, Raw: []float64{value}})
	}
	for range 4 {
		scan(60)
		at = at.Add(time.Second)
	}
	nan := math.NaN()
	for _, value := range []float64{nan, 60, nan, 60} {
		scan(value)
	}
	for range 4 {
		at = at.Add(time.Second)
		scan(20)
	}
	all := p.lines
	if len(all) < 6 || all[1] != all[3] || all[2] != all[4] {
		t.Fatalf("no two changes are alike: %q", all)
	}
	twice := func(what string, live []string, want ...[2]int) {
		t.Helper()
		if got := repeated(t, live); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v are kept twice, want %v", what, got, want)
		}
	}
	n := len(all)
	twice("as they were", all)
	twice("the first again", slices.Concat(all[:1], all), [2]int{0, 1})
	twice("the last again", append(slices.Clone(all), all[n-1]), [2]int{n - 1, n})
	twice("some of one instant, which end as they began", slices.Concat(all[:4], all[1:]), [2]int{3, 4})
	twice("the first again, after all", append(slices.Clone(all), all[0]), [2]int{0, n})
	if got := repeated(t, slices.Concat(all, all)); len(got) != 4 { // and two that are taken for two
		t.Errorf("all of it again: %v", got)
	}
}
