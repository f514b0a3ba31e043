package sqlite

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

const oneDay = 24 * time.Hour

// diary writes n days, each with readings, one entry of each kind and history.
func diary(t testing.TB, s *Store, n int) {
	t.Helper()
	for d := range n {
		at := journaltest.Noon.Add(time.Duration(d) * oneDay)
		for k := range 3 {
			ord := uint64(1 + 100*d + 20*k)
			b := []record.Block{matBlock("hub/mat", ord, 300, 10, at), journaltest.Block("trolley/leg", ord+10, 1, 9, at)}
			if err := s.AppendReadings(t.Context(), b, []record.Tick{{Ord: ord + 19, At: at}}); err != nil {
				t.Fatal(err)
			}
		}
		var day []record.Entry
		for _, body := range []record.Body{record.Fault{Text: fmt.Sprint(d)}, record.Mark{Text: fmt.Sprint(d)}, record.Session{ID: fmt.Sprint(d)},
			record.Transition{}, record.Action{What: "acknowledge"}, record.Notice{What: "seen"}, record.NewConfig(uint64(d), "x")} {
			day = append(day, record.Entry{At: at, Written: at, Body: body})
		}
		if _, err := s.Append(t.Context(), day...); err != nil {
			t.Fatal(err)
		}
		if _, err := s.PutDocument(t.Context(), record.Document{Name: "a", Version: uint64(d), Written: at, Body: fmt.Append(nil, d)}); err != nil {
			t.Fatal(err)
		}
		for _, tier := range record.Tiers() {
			p := record.Point{At: at / sample.Instant(tier.Step()) * sample.Instant(tier.Step()), Mean: float32(d)}
			if err := s.PutHistory(t.Context(), record.Stretch{Place: "bed-4", Series: "peak", Tier: tier, Points: []record.Point{p}}); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// what says how much of each class there is.
func what(t testing.TB, s *Store) map[journal.Class]int {
	t.Helper()
	n := map[journal.Class]int{}
	n[journal.Readings] = len(journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)))
	kinds := map[record.Kind]journal.Class{record.KindFault: journal.Faults, record.KindMark: journal.Marks, record.KindSession: journal.Sessions,
		record.KindTransition: journal.Transitions, record.KindAction: journal.Actions, record.KindNotice: journal.Notices, record.KindConfig: "configurations"}
	for _, e := range journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})) {
		n[kinds[e.Body.Kind()]]++
	}
	for tier, class := range map[record.Tier]journal.Class{record.Second: journal.Seconds, record.Minute: journal.Minutes, record.Quarter: journal.Quarters} {
		points, err := s.History(t.Context(), "bed-4", "peak", tier, sample.Past, sample.Never, nil)
		if err != nil {
			t.Fatal(err)
		}
		n[class] = len(points)
	}
	for v := uint64(1); v <= 40; v++ {
		if _, err := s.Document(t.Context(), "a", v); err == nil {
			n[journal.Former]++
		}
	}
	return n
}

func plan(t testing.TB, s *Store, l journal.Limits, now sample.Instant) journal.Plan {
	t.Helper()
	p, err := s.PlanRetention(t.Context(), l, now)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Ten days are written, seven are kept. What is shown is what goes; everything
// else stays; nothing of it counts as lost; and the record goes on, as do its
// numbers.
func TestRetentionByAge(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	const days = 10
	diary(t, s, days)
	now := journaltest.Noon.Add(days * oneDay)
	before := what(t, s)
	limits := journal.Limits{}
	for _, c := range journal.Classes() {
		limits[c] = journal.Limit{Age: 7 * oneDay}
	}
	p := plan(t, s, limits, now)
	if got := what(t, s); !mapsEqual(got, before) {
		t.Fatal("planning deleted something")
	}
	if p.Doubt != "" {
		t.Fatalf("doubt: %s", p.Doubt)
	}
	shown := map[journal.Class]int{}
	for _, d := range p.Deletions {
		shown[d.Class] += d.Count
		if d.Bytes <= 0 || d.To >= now.Add(-7*oneDay) && d.Class != journal.Quarters {
			t.Errorf("%+v", d)
		}
	}
	if err := s.Retire(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	after := what(t, s)
	for _, c := range journal.Classes() {
		deleted := before[c] - after[c]
		switch c {
		case journal.Readings: // three whole days, each with three blocks of both sources and three groups of ticks
			if deleted != 3*3*20 || shown[c] != 3*3*3 {
				t.Errorf("readings: %d inputs are gone, %d blocks were shown", deleted, shown[c])
			}
		case journal.Quarters: // in windows of five days
			if deleted != shown[c] || deleted > 3 {
				t.Errorf("%s: %d are gone, %d were shown", c, deleted, shown[c])
			}
		default:
			if deleted != 3 || shown[c] != 3 {
				t.Errorf("%s: %d are gone, %d were shown, want 3", c, deleted, shown[c])
			}
		}
	}
	if after["configurations"] != days {
		t.Errorf("%d configurations are left", after["configurations"])
	}
	journaltest.Sound(t, s)
	s.Close()

	s = mustOpen(t, dir)
	if got := what(t, s); !mapsEqual(got, after) {
		t.Errorf("after opening again there is %v, want %v", got, after)
	}
	journaltest.Sound(t, s)
	if p := plan(t, s, limits, now); len(p.Deletions) > 0 {
		t.Errorf("there is still something to delete: %+v", p.Deletions)
	}
	b := []record.Block{matBlock("hub/mat", 5000, 300, 10, now)}
	if err := s.AppendReadings(t.Context(), b, nil); err != nil || b[0].Number != 3*days+1 {
		t.Errorf("the next block has number %d, %v", b[0].Number, err)
	}
}

func mapsEqual(a, b map[journal.Class]int) bool {
	for _, c := range append(journal.Classes(), "configurations") {
		if a[c] != b[c] {
			return false
		}
	}
	return true
}

func TestRetentionBySize(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	const days = 10
	diary(t, s, days)
	now := journaltest.Noon.Add(days * oneDay)
	files, err := s.files()
	if err != nil {
		t.Fatal(err)
	}
	total := int64(0)
	for _, f := range files {
		total += f.bytes
	}
	p := plan(t, s, journal.Limits{journal.Readings: {Bytes: total - files[0].bytes - 1}, journal.Faults: {Bytes: 400}}, now)
	if len(p.Deletions) != 3 || p.Deletions[0].File != files[0].file || p.Deletions[1].File != files[1].file || p.Deletions[2].Class != journal.Faults {
		t.Fatalf("%+v", p.Deletions)
	}
	if err := s.Retire(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	left := 0
	for _, e := range journaltest.Gather(t, s.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindFault}})) {
		b, err := e.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		left += len(b)
	}
	if left == 0 || left > 400 {
		t.Errorf("%d bytes of faults are left, want at most 400, and some", left)
	}
	// However little is allowed, the newest day stays.
	p = plan(t, s, journal.Limits{journal.Readings: {Bytes: 1}}, now)
	if err := s.Retire(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 60 || got[0].Ord != 100*(days-1)+1 {
		t.Errorf("%d inputs are left", len(got))
	}
	journaltest.Sound(t, s)
}

// What is not spoken of is kept, and alerts and actions are not spoken of unless
// somebody does.
func TestKeptForEver(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	diary(t, s, 5)
	for _, limits := range []journal.Limits{nil, {}, {journal.Readings: {}, journal.Actions: {}}} {
		if p := plan(t, s, limits, journaltest.Noon.Add(6*oneDay)); len(p.Deletions) > 0 {
			t.Errorf("%v: %+v", limits, p.Deletions)
		}
	}
}

// The clock jumps a year ahead, and one day is written there. Everything looks
// old; nothing is deleted for it, until days have gone by like that.
func TestClockAhead(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	diary(t, s, 6)
	later := journaltest.Noon.Add(365 * oneDay)
	limits := journal.Limits{journal.Readings: {Age: 30 * oneDay}, journal.Marks: {Age: 30 * oneDay}}
	for d := range 5 {
		at := later.Add(time.Duration(d) * oneDay)
		p := plan(t, s, limits, at)
		if d < settled && (p.Doubt == "" || len(p.Deletions) > 0) || d > settled && (p.Doubt != "" || len(p.Deletions) == 0) {
			t.Errorf("on day %d after the jump: doubt %q, %d deletions", d, p.Doubt, len(p.Deletions))
		}
		if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", uint64(10000+100*d), 1, 10, at)}, nil); err != nil {
			t.Fatal(err)
		}
	}
	if p := plan(t, s, journal.Limits{journal.Readings: {Age: 30 * oneDay}}, journaltest.Noon.Add(-1000*oneDay)); len(p.Deletions) > 0 {
		t.Errorf("with the clock set back: %+v", p.Deletions)
	}
}

// A plan is carried out later: what has been written to a file since keeps it.
func TestNoMoreThanShown(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	diary(t, s, 5)
	now := journaltest.Noon.Add(5 * oneDay)
	p := plan(t, s, journal.Limits{journal.Readings: {Age: 2 * oneDay}, journal.Marks: {Age: 2 * oneDay}}, now)
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("a/b", 9000, 1, 10, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	late := journaltest.Mark("came late")
	if _, err := s.Append(t.Context(), late); err != nil {
		t.Fatal(err)
	}
	if err := s.Retire(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	inputs := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64))
	if got := ordOf(inputs); !slices.Contains(got, 1) || !slices.Contains(got, 9000) || slices.Contains(got, 101) {
		t.Errorf("left are %v", got)
	}
	marks := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindMark}}))
	if n := len(marks); n == 0 || marks[n-1].Body.(record.Mark).Text != "came late" {
		t.Errorf("the late mark is gone: %+v", marks)
	}
	if err := s.Retire(t.Context(), p); err != nil {
		t.Errorf("once more: %v", err)
	}
	journaltest.Sound(t, s)
}

func ordOf(inputs []record.Input) (all []uint64) {
	for _, in := range inputs {
		all = append(all, in.Ord)
	}
	return all
}

// The process dies between the note that a file goes and its end: it goes when
// the record is opened, and is not taken in again.
func TestCrashWhileRetiring(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	diary(t, s, 4)
	file := dayFile(journaltest.Noon)
	kept := filepath.Join(t.TempDir(), file)
	copyTest(t, kept, filepath.Join(dir, file))
	if err := s.Retire(t.Context(), plan(t, s, journal.Limits{journal.Readings: {Age: 2 * oneDay}}, journaltest.Noon.Add(4*oneDay))); err != nil {
		t.Fatal(err)
	}
	s.Close()
	copyTest(t, filepath.Join(dir, file), kept)
	db, err := connect(filepath.Join(dir, mainName), writing)
	if err != nil {
		t.Fatal(err)
	}
	p := record.Progress{File: file, State: retired}
	if _, err := db.Exec("INSERT INTO progress(key, body) VALUES(?, ?)", file, p.Append(nil)); err != nil {
		t.Fatal(err)
	}
	db.Close()
	s = mustOpen(t, dir)
	if _, err := os.Stat(filepath.Join(dir, file)); !os.IsNotExist(err) {
		t.Errorf("%s is there: %v", file, err)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); got[0].Ord <= 100 {
		t.Errorf("input %d was deleted and is there", got[0].Ord)
	}
	journaltest.Sound(t, s)
}
