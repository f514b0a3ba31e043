package sqlite

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// Something of a person that no compression hides, and what it becomes.
const (
	told    = "Zx81-told-by-a-person-Zx81"
	untold  = "Qy72-what-stands-in-for-it"
	another = "told by somebody else"
)

// personal makes a rework that takes told out of entries and documents.
func personal(blanks []Blank, spans []Span) Rework {
	return Rework{Blanks: blanks, Spans: spans,
		Entry: func(e *record.Entry) bool {
			m, ok := e.Body.(record.Mark)
			if !ok || !strings.Contains(m.Text, told) && e.Place != told {
				return false
			}
			m.Text = strings.ReplaceAll(m.Text, told, untold)
			if e.Place == told {
				e.Place = untold
			}
			e.Body = m
			return true
		},
		Document: func(d *record.Document) bool {
			if !strings.Contains(d.Name, told) && !bytes.Contains(d.Body, []byte(told)) {
				return false
			}
			d.Name, d.Body = strings.ReplaceAll(d.Name, told, untold), bytes.ReplaceAll(d.Body, []byte(told), []byte(untold))
			return true
		},
		Broken: func(b []byte) bool { return bytes.Contains(b, []byte(told)) },
		Salt:   func() []byte { return []byte("0123456789abcdef") },
		Link: func(changed []record.Cover) record.Entry {
			e := link("erased", 0)
			a := e.Body.(record.Audit)
			a.Covers = changed
			e.Body = a
			return e
		},
	}
}

// anywhere fails the test if a text is in a byte of any file of a folder.
func anywhere(t testing.TB, dir, text string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if at := bytes.Index(b, []byte(text)); at >= 0 {
			t.Errorf("byte %d of %s has %q", at, e.Name(), text)
		}
	}
}

// spoken keeps entries, documents, and snapshots of a person and of another, of every
// size that lies otherwise in a file, over and over, so that they lie about in logs too.
// The newest snapshot is of nobody, as a rework wants it.
func spoken(t testing.TB, s *Store) {
	t.Helper()
	ctx := t.Context()
	if err := s.AppendReadings(ctx, []record.Block{journaltest.Block("hub/a", 1, 1, 10, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	for i, size := range []int{0, 100, 3000, 9000} {
		pad := strings.Repeat("x", size)
		e := journaltest.Mark(pad + told + pad)
		e.Place = []string{told, "bed-4"}[i%2]
		if _, err := s.Append(ctx, e, journaltest.Mark(another), link("noted", 2)); err != nil {
			t.Fatal(err)
		}
		for v := range uint64(2) {
			d := record.Document{Name: fmt.Sprintf("account/%s/%d", told, i), Version: v, Body: []byte(pad + told)}
			if _, err := s.PutDocument(ctx, d); err != nil {
				t.Fatal(err)
			}
			if _, err := s.PutDocument(ctx, record.Document{Name: fmt.Sprint("part/", i), Version: v, Body: []byte(another)}); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.PutSnapshot(ctx, record.Snapshot{Ord: uint64(i), Body: []byte(told + pad)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.PutSnapshot(ctx, record.Snapshot{Ord: 10, Body: []byte(another)}); err != nil {
		t.Fatal(err)
	}
}

// After a rework nothing of what was taken out is in a byte of any file: not in a body,
// in a column, in an index, in a log, in room that is not used, nor in what damaged files
// were before they were mended. What was of another is as it was, the chain holds, and
// what was done is one link more.
func TestReworkedInEveryByte(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	spoken(t, s)
	if err := s.mendMain(errCorrupt, 0); err != nil { // so that a file of former times lies beside it
		t.Fatal(err)
	}
	if got := s.Damaged(); len(got) == 0 {
		t.Fatal("no damaged file is kept, so that nothing is tested")
	}
	before := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	n, err := s.Rework(t.Context(), personal(nil, nil))
	if err != nil || n != (Reworked{Entries: 4, Documents: 8}) {
		t.Fatalf("changed %+v, %v", n, err)
	}
	anywhere(t, dir, told)
	if got := s.Damaged(); len(got) > 0 {
		t.Errorf("damaged files are still there: %v", got)
	}
	after := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	if len(after) != len(before)+1 {
		t.Fatalf("%d entries became %d, want one more", len(before), len(after))
	}
	for i, e := range before {
		b, _ := e.Append(nil)
		a, _ := after[i].Append(nil)
		if want := bytes.ReplaceAll(b, []byte(told), []byte(untold)); !bytes.Equal(a[:len(a)-4], want[:len(want)-4]) { // but for their checksums
			t.Errorf("entry %d became\n%q, want\n%q", e.Position, a, want)
		}
	}
	if got := positions(t, s, journal.Query{Place: untold}); len(got) != 2 {
		t.Errorf("by the new name of the place there are %v", got)
	}
	if got := journaltest.Gather(t, s.Documents(t.Context(), "account/"+untold)); len(got) != 4 || !strings.HasSuffix(string(got[3].Body), untold) {
		t.Errorf("by their new names there are %d documents", len(got))
	}
	if d, err := s.Document(t.Context(), "part/2", 1); err != nil || string(d.Body) != another {
		t.Errorf("of another: %+v, %v", d, err)
	}
	if r := sound(t, s); len(r.Findings) > 0 || r.Erased != 4 {
		t.Errorf("the chain: %+v", r)
	}
	journaltest.Sound(t, s)
	s.Close()
	s = mustOpen(t, dir)
	linked(t, s, 1)
	anywhere(t, dir, told)
	if r := sound(t, s); len(r.Findings) > 0 {
		t.Errorf("going on: %q", r.Findings)
	}
}

// Of readings, exactly those of the channels and the time that were named become unknown,
// in every file that has some, and nothing else of any scan changes. Both ends count.
func TestBlanksAgainstEveryReading(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	midnight := sample.At(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))
	ord := uint64(1)
	for i := -3; i < 3; i++ { // two files, three blocks of each source in each
		var call []record.Block
		for _, source := range []string{"hub/a", "hub/b"} {
			call = append(call, journaltest.Block(source, ord, 1, 10, midnight+sample.Instant(i)*1e9))
			ord += 10
		}
		if err := s.AppendReadings(t.Context(), call, []record.Tick{{Ord: ord, At: midnight + sample.Instant(i)*1e9}}); err != nil {
			t.Fatal(err)
		}
		ord++
	}
	for _, blanks := range [][]Blank{
		{{Source: "hub/a", Channels: []int{1, 3, 99}, From: midnight - 15e8, To: midnight + 2e8}},
		{{Source: "hub/b", From: midnight, To: midnight}},
		{{Source: "hub/b", From: midnight + 1, To: midnight + 1e8 - 1}, {Source: "hub/none", From: sample.Past, To: sample.Never}},
		{{Source: "hub/a", Channels: []int{}, From: sample.Past, To: sample.Never}},
		{{Source: "hub/a", Channels: []int{0}, From: sample.Past, To: sample.Never}, {Source: "hub/b", Channels: []int{2}, From: midnight + 2e9, To: sample.Never}},
	} {
		before := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64))
		changedBlocks := map[string]bool{}
		for _, in := range before {
			for _, b := range blanks {
				if in.Scan == nil || in.Source != b.Source || in.Scan.At < b.From || in.Scan.At > b.To {
					continue
				}
				for c := range in.Scan.Raw {
					named := b.Channels == nil
					for _, x := range b.Channels {
						named = named || x == c
					}
					if named && !math.IsNaN(in.Scan.Raw[c]) {
						in.Scan.Raw[c] = math.NaN()
						changedBlocks[fmt.Sprint(in.Source, (in.Ord-1)/21)] = true
					}
				}
			}
		}
		n, err := s.Rework(t.Context(), personal(blanks, nil))
		if err != nil || n.Blocks != len(changedBlocks) {
			t.Errorf("%+v: %d blocks changed, want %d; %v", blanks, n.Blocks, len(changedBlocks), err)
		}
		after := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64))
		if len(after) != len(before) {
			t.Fatalf("%d inputs became %d", len(before), len(after))
		}
		for i := range after {
			if !sameInput(after[i], before[i]) {
				t.Fatalf("%+v: input %d is %+v, want %+v", blanks, after[i].Ord, after[i].Scan, before[i].Scan)
			}
		}
		journaltest.Sound(t, s)
	}
	// And it goes on in the file that it was in, with the next numbers.
	b := []record.Block{journaltest.Block("hub/a", ord, 1, 1, midnight+3e9)}
	if err := s.AppendReadings(t.Context(), b, nil); err != nil || b[0].Number != 7 {
		t.Errorf("the next block has number %d, %v", b[0].Number, err)
	}
	s.Close()
	journaltest.Sound(t, mustOpen(t, dir))
}

// Of history, every point goes that tells of some instant of the span: one that begins in
// it, and one that began before and lasts into it. No other does, of this place or of
// another.
func TestSpansAgainstEveryPoint(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	base := journaltest.Noon.Add(-48 * time.Hour)
	for _, place := range []string{"bed-4", "bed-5"} {
		for _, series := range []string{"peak", "mean"} {
			var all []record.Stretch
			for _, tier := range record.Tiers() {
				step := sample.Instant(tier.Step())
				st := record.Stretch{Place: place, Series: series, Tier: tier}
				for i := range 1500 { // over the edges of windows of each tier
					st.Points = append(st.Points, record.Point{At: base/step*step + sample.Instant(i)*step, Mean: float32(i)})
				}
				all = append(all, st)
			}
			if err := s.PutHistory(t.Context(), all...); err != nil {
				t.Fatal(err)
			}
		}
	}
	type key struct {
		place, series string
		tier          record.Tier
	}
	read := func() map[key][]record.Point {
		all := map[key][]record.Point{}
		for _, place := range []string{"bed-4", "bed-5"} {
			for _, series := range []string{"peak", "mean"} {
				for _, tier := range record.Tiers() {
					points, err := s.History(t.Context(), place, series, tier, sample.Past, sample.Never, nil)
					if err != nil {
						t.Fatal(err)
					}
					all[key{place, series, tier}] = points
				}
			}
		}
		return all
	}
	ten := sample.Instant(10 * time.Minute)
	edge := base/ten*ten + ten // of a window of seconds
	for _, span := range []Span{
		{"bed-4", base + 5e9, base + 5e9}, {"bed-4", edge, edge + 3e9 - 1}, {"bed-4", edge + 2e9 + 1, edge + 9e9}, {"bed-4", edge - 1, edge - 1},
		{"bed-5", base.Add(time.Hour), base.Add(5 * time.Hour)}, {"nowhere", sample.Past, sample.Never}, {"bed-5", sample.Past, base.Add(time.Minute)},
		{"bed-4", sample.Past, sample.Never},
	} {
		want := read()
		for k, points := range want {
			kept := points[:0]
			for _, p := range points {
				last := p.At + sample.Instant(k.tier.Step()) - 1
				if k.place != span.Place || last < span.From || p.At > span.To {
					kept = append(kept, p)
				}
			}
			want[k] = kept
		}
		if _, err := s.Rework(t.Context(), personal(nil, []Span{span})); err != nil {
			t.Fatal(err)
		}
		for k, got := range read() {
			if fmt.Sprint(got) != fmt.Sprint(want[k]) {
				t.Errorf("%+v: of %v %d points are left, want %d", span, k, len(got), len(want[k]))
			}
		}
	}
	journaltest.Sound(t, s)
}

// Where the link cannot be kept, nothing of entries, documents and history changes; what
// readings were blanked stays so, and a second time does the rest.
func TestReworkIsWholeOrNot(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if err := s.PutHistory(t.Context(), record.Stretch{Place: "bed-4", Series: "peak", Tier: record.Second, Points: []record.Point{{At: journaltest.Noon}}}); err != nil {
		t.Fatal(err)
	}
	spoken(t, s)
	before := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	w := personal([]Blank{{Source: "hub/a", From: sample.Past, To: sample.Never}}, []Span{{"bed-4", sample.Past, sample.Never}})
	good := w.Link
	w.Link = func([]record.Cover) record.Entry { return link("", 0) }
	if n, err := s.Rework(t.Context(), w); !errors.Is(err, record.ErrInvalid) || n.Blocks != 1 {
		t.Fatalf("with a bad link: %+v, %v", n, err)
	}
	after := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	if len(after) != len(before) || after[0].Body.(record.Mark).Text != told || after[0].Place != told {
		t.Errorf("%d entries became %d, the first %+v", len(before), len(after), after[0])
	}
	if _, err := s.Document(t.Context(), "account/"+told+"/0", 0); err != nil {
		t.Errorf("a document: %v", err)
	}
	if got, err := s.History(t.Context(), "bed-4", "peak", record.Second, sample.Past, sample.Never, nil); err != nil || len(got) != 1 {
		t.Errorf("%d points, %v", len(got), err)
	}
	w.Link = good
	if n, err := s.Rework(t.Context(), w); err != nil || n != (Reworked{Entries: 4, Documents: 8, Stretches: 1}) {
		t.Errorf("again: %+v, %v", n, err)
	}
	journaltest.Sound(t, s)
	s.breakDown(journal.ErrBroken)
	if _, err := s.Rework(t.Context(), w); !errors.Is(err, journal.ErrBroken) {
		t.Errorf("of a record that is not kept any more: %v", err)
	}
}
