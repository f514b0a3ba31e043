package person

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/attempt"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

var eve = sample.At(time.Date(2026, 3, 1, 23, 0, 0, 0, time.UTC))

func minute(n float64) sample.Instant { return eve.Add(time.Duration(n * float64(time.Minute))) }

// ward is a bed with a mat, and two limbs that share a source.
var ward = &rules.Plan{
	Sources: []rules.Source{{ID: "hub/mat4", Channels: 4}, {ID: "trolley/legs", Channels: 4}},
	Places: []rules.Place{
		{ID: "bed-4", Kind: rules.Bed, Mat: &rules.Mat{Source: 0, Rows: 2, Columns: 2}},
		{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 1, Index: 0}, {Source: 1, Index: 1}}}}},
		{ID: "bench-2", Kind: rules.Wrap, Sites: []rules.Site{{ID: "ankle", Channels: []rules.Channel{{Source: 1, Index: 2}, {Source: 1, Index: 3}}}}},
	},
}

// A stay of K-07 in the bed from 10 to 90 min, over midnight, one of K-08 from 120 to
// 130; a try of K-07 at bench-1 from 20 to 30 min, of K-08 at bench-2 at the same time.
func write(t *testing.T, dir string) {
	t.Helper()
	ctx := t.Context()
	s, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	j := audit.Over(s)
	keep := func(at sample.Instant, place, author string, b record.Body) {
		t.Helper()
		if _, err := j.Append(ctx, record.Entry{At: at, Written: at, Place: place, Author: author, Body: b}); err != nil {
			t.Fatal(err)
		}
	}
	keep(minute(0), "", "", record.NewConfig(1, "data: record # as K-07 has it\n"))
	ord := uint64(0)
	var points []record.Point
	for i := 0; i < 140; i += 20 {
		blocks := []record.Block{{Source: "hub/mat4", Config: 1}, {Source: "trolley/legs", Config: 1}}
		for k := i; k < i+20; k++ {
			at := minute(float64(k))
			points = append(points, record.Point{At: at, Min: 1, Mean: 2, Max: 3})
			for n := range blocks {
				ord++
				raw := []float64{1000 + float64(k), 2000 + float64(k), 3000 + float64(n), 4000}
				blocks[n].Scans = append(blocks[n].Scans, record.Scan{Ord: ord, At: at, Arrived: at, Rail: math.NaN(), Raw: raw})
			}
		}
		if err := s.AppendReadings(ctx, blocks, nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, place := range []string{"bed-4", "bench-1", "bench-2"} {
		if err := s.PutHistory(ctx, record.Stretch{Place: place, Series: "x", Tier: record.Minute, Points: points}); err != nil {
			t.Fatal(err)
		}
	}
	keep(minute(10), "bed-4", "N-4", record.Session{ID: "s-1", What: "begun", Code: "K-07", Notes: "came with a red scarf"})
	keep(minute(20), "bench-1", "T-1", record.Attempt{ID: "a-1", What: "begun", Code: "K-07", Notes: "left-handed"})
	keep(minute(20), "bench-2", "T-1", record.Attempt{ID: "a-2", What: "begun", Code: "K-08", Notes: "second try"})
	for id, code := range map[string]string{"a-1": "K-07", "a-2": "K-08"} {
		keep(minute(25), "bench-1", "T-1", record.Attempt{ID: id, What: "read", Code: code, Read: &attempt.Reading{Step: attempt.Lying, At: minute(25), Values: []attempt.Value{{MMHg: 41.25}}}})
		keep(minute(30), "bench-1", "T-1", record.Attempt{ID: id, What: "ended", Code: code})
	}
	event := alert.Event{At: minute(40), Key: alert.Key{Place: "bed-4", Rule: "turn-due", Subject: "bed"}, What: alert.WasShelved, Who: "N-4", Why: "sings", Text: "shelved by N-4: sings"}
	keep(minute(40), "bed-4", "N-4", record.Action{What: "shelve", Subject: event.ID(), Reason: "sings"})
	keep(minute(40), "bed-4", "", record.Transition{Event: event})
	keep(minute(50), "bed-4", "K-07", record.Mark{What: "turned", Text: "K-07's <own> doing,\nK-07"})
	keep(minute(90), "bed-4", "N-4", record.Session{ID: "s-1", What: "ended", Code: "K-07"})
	keep(minute(120), "bed-4", "N-4", record.Session{ID: "s-2", What: "begun", Code: "K-08", Notes: "K-07 lay here before; K-071 and AK-07 did not"})
	keep(minute(125), "bed-4", "N-4", record.Action{What: "shelve", Subject: event.ID(), Reason: "visit"})
	keep(minute(130), "bed-4", "N-4", record.Session{ID: "s-2", What: "ended", Code: "K-08"})
	if err := audit.Note(ctx, j, record.Deed{Written: minute(131), What: audit.Reported, Who: "N-4", Person: "K-07", Subject: "trial"}); err != nil {
		t.Fatal(err)
	}
	for _, body := range []string{`{"by":"K-07"}`, `{"by":"K-08","of":"K-07"}`} {
		d := record.Document{Name: "part", Written: minute(131), Body: []byte(body)}
		if last, err := s.Document(ctx, "part", 0); err == nil {
			d.Version = last.Version
		}
		if _, err := s.PutDocument(ctx, d); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.PutDocument(ctx, record.Document{Name: "access/account/K-07", Written: minute(131)}); err != nil { // that is removed
		t.Fatal(err)
	}
	for i, body := range []string{"K-07 has shelved it", "nobody has"} {
		if err := s.PutSnapshot(ctx, record.Snapshot{Ord: ord - 1 + uint64(i), At: minute(138 + float64(i)), Config: 1, Body: []byte(body)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func opened(t *testing.T, dir string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), dir, sqlite.Options{Reserve: -1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func erasure(t *testing.T, s *sqlite.Store, code string) *Erasure {
	t.Helper()
	stays, err := Stays(t.Context(), s, code)
	if err != nil {
		t.Fatal(err)
	}
	return &Erasure{Code: code, Stays: stays, By: "console", At: minute(140), Plans: func(*Stay) ([]*rules.Plan, error) { return []*rules.Plan{ward}, nil }}
}

// held is all that can be read of a record, but for what is of K-07: entries, readings
// and history, a line each.
func held(t *testing.T, s *sqlite.Store) (all []string, raw map[string]int) {
	t.Helper()
	ctx := context.Background()
	raw = map[string]int{}
	for e, err := range s.Entries(ctx, journal.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		if _, ok := e.Body.(record.Audit); !ok {
			b, err := e.JSON()
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, string(b))
		}
	}
	for _, source := range []string{"hub/mat4", "trolley/legs"} {
		for b, err := range s.Readings(ctx, source, minute(0), minute(1000)) {
			if err != nil {
				t.Fatal(err)
			}
			for _, scan := range b.Scans {
				all = append(all, fmt.Sprintf("%s %d %d %v", source, scan.Ord, scan.Seq, scan.At))
				for c, v := range scan.Raw {
					if v == v {
						raw[fmt.Sprintf("%s/%d", source, c)]++
					}
				}
			}
		}
	}
	for _, place := range []string{"bed-4", "bench-1", "bench-2"} {
		points, err := s.History(ctx, place, "x", record.Minute, minute(0), minute(1000), nil)
		if err != nil {
			t.Fatal(err)
		}
		raw[place] = len(points)
	}
	return all, raw
}

// What is of a person is in no byte of any file afterwards. All else is as it was:
// every count, every scan's time, the other's readings, notes and reasons; and the
// audit's chain holds, and says that it was done.
func TestErasedFromEveryByte(t *testing.T) {
	dir := t.TempDir()
	write(t, dir)
	s := opened(t, dir)
	before, rawBefore := held(t, s)
	x := erasure(t, s, "K-07")
	n, err := x.Erase(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	after, raw := held(t, s)
	if len(before) != len(after) {
		t.Errorf("%d things became %d", len(before), len(after))
	}
	for i := range min(len(before), len(after)) {
		if before[i] != after[i] && !strings.Contains(before[i], "K-07") && !strings.Contains(before[i], "sings") && !strings.Contains(before[i], "a-1") && !strings.Contains(after[i], x.Pseudonym) {
			t.Errorf("of somebody else:\n%s\nbecame\n%s", before[i], after[i])
		}
	}
	for what, n := range map[string]int{"hub/mat4/0": 81, "hub/mat4/3": 81, "trolley/legs/0": 11, "trolley/legs/1": 11, "trolley/legs/2": 0, "bed-4": 81, "bench-1": 11, "bench-2": 0} {
		if lost := rawBefore[what] - raw[what]; lost != n {
			t.Errorf("%s lost %d, want %d", what, lost, n)
		}
	}
	if n.Blocks == 0 || n.Documents != 3 || n.Entries < 10 || n.Stretches == 0 {
		t.Errorf("%+v", n)
	}
	if stays, err := Stays(t.Context(), s, x.Pseudonym); err != nil || len(stays) != 2 {
		t.Errorf("under %s: %v %v", x.Pseudonym, stays, err)
	}
	r, err := audit.Verify(t.Context(), s)
	if err != nil || len(r.Findings) > 0 || r.Erased == 0 {
		t.Errorf("%v %+v", err, r)
	}
	for f, err := range s.Check(t.Context()) {
		t.Errorf("%v %v", f, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	grep(t, dir, "K-07", false)
	grep(t, dir, "K-08", true)
	for _, written := range []string{"scarf", "left-handed", "sings", "doing", "shelved it", "41.25,"} {
		grep(t, dir, written, written == "41.25,")
	}

	// It opens, verifies and can be made again, which changes nothing more.
	s = opened(t, dir)
	if r, err := audit.Verify(t.Context(), s, r.Last); err != nil || len(r.Findings) > 0 {
		t.Errorf("%v %q", err, r.Findings)
	}
	again := erasure(t, s, "K-07")
	if n, err := again.Erase(t.Context(), s); err != nil || n != (sqlite.Reworked{}) {
		t.Errorf("again: %+v %v", n, err)
	}
	// And another, of whom the first one's links know too.
	if _, err := erasure(t, s, "K-08").Erase(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	if r, err := audit.Verify(t.Context(), s); err != nil || len(r.Findings) > 0 {
		t.Errorf("%v %q", err, r.Findings)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	grep(t, dir, "K-08", false)
}

// grep looks for text in every byte of every file, where it stands for itself: K-07 is
// not in K-071.
func grep(t *testing.T, dir, text string, want bool) {
	t.Helper()
	found := ""
	err := filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if err != nil || info.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		b = bytes.ReplaceAll(bytes.ReplaceAll(b, []byte("K-071"), nil), []byte("AK-07"), nil)
		if i := bytes.Index(b, []byte(text)); i >= 0 {
			found = fmt.Sprintf("%s: …%q…", filepath.Base(path), b[max(0, i-40):min(len(b), i+40)])
		}
		return err
	})
	if err != nil || want != (found != "") {
		t.Errorf("%q: want %t, %s %v", text, want, found, err)
	}
}

// What is not over cannot be taken away from under the rules.
func TestAnErasureThatHasToWait(t *testing.T) {
	for want, write2 := range map[error]func(*testing.T, *sqlite.Store){
		ErrLasts: func(t *testing.T, s *sqlite.Store) {
			e := record.Entry{At: minute(132), Written: minute(132), Place: "bench-1", Body: record.Session{ID: "s-3", What: "begun", Code: "K-07"}}
			if _, err := audit.Over(s).Append(t.Context(), e); err != nil {
				t.Fatal(err)
			}
		},
		ErrRecent: func(t *testing.T, s *sqlite.Store) {
			for _, what := range []string{"begun", "ended"} {
				e := record.Entry{At: minute(139.5), Written: minute(139.5), Place: "bench-1", Body: record.Session{ID: "s-3", What: what, Code: "K-07"}}
				if _, err := audit.Over(s).Append(t.Context(), e); err != nil {
					t.Fatal(err)
				}
			}
		},
		ErrStanding: func(t *testing.T, s *sqlite.Store) {
			if err := s.PutSnapshot(t.Context(), record.Snapshot{Ord: 280, At: minute(139.6), Config: 1, Body: []byte("\x04K-07\x00")}); err != nil {
				t.Fatal(err)
			}
		},
	} {
		dir := t.TempDir()
		write(t, dir)
		s := opened(t, dir)
		write2(t, s)
		before, _ := held(t, s)
		if _, err := erasure(t, s, "K-07").Erase(t.Context(), s); !errors.Is(err, want) {
			t.Errorf("%v, want %v", err, want)
		}
		if after, _ := held(t, s); fmt.Sprint(after) != fmt.Sprint(before) {
			t.Errorf("%v: something was changed", want)
		}
	}
}

// The words of a code.
func TestWords(t *testing.T) {
	w := word{"K-07", "X-1"}
	for text, want := range map[string]string{
		"K-07":                     "X-1",
		"K-07.":                    "X-1.",
		"K-071 AK-07 K-0":          "K-071 AK-07 K-0",
		`{"a":"\nK-07\u003cK-07"}`: `{"a":"\nX-1\u003cX-1"}`,
		"K-07K-07":                 "K-07K-07",
		"K-07 K-07-left":           "X-1 X-1-left",
		"":                         "",
	} {
		if got := string(w.out([]byte(text))); got != want {
			t.Errorf("%s became %s, want %s", text, got, want)
		}
	}
}
