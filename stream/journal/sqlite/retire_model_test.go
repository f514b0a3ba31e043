package sqlite

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// Which files go is held to what limits mean, file by file, the one with the least ordinal
// first: what is older than the age by the end of its day; what is too much, until it is
// not; never the newest, one that is written to, or one that has something to be spared.
func TestPlanFilesAgainstAReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var files []sized
		ord := uint64(0)
		at := journaltest.Noon / sample.Instant(oneDay) * sample.Instant(oneDay)
		for i := range rapid.IntRange(0, 6).Draw(t, "files") {
			at = at.Add(time.Duration(rapid.IntRange(-1, 3).Draw(t, "days")) * oneDay)
			first := ord + 1
			ord += rapid.Uint64Range(1, 9).Draw(t, "ordinals")
			f := sized{day: day{file: fmt.Sprint(i), sum: summary{blocks: 1, firstOrd: first, lastOrd: ord}}, begins: at,
				bytes: rapid.Int64Range(1, 50).Draw(t, "bytes"), newest: rapid.IntRange(0, 5).Draw(t, "newest") == 0}
			files = append(files, f)
		}
		if n := len(files); n > 0 {
			files[n-1].newest = true
		}
		limit := journal.Limit{Age: time.Duration(rapid.IntRange(0, 4).Draw(t, "age")) * oneDay,
			Bytes: rapid.Int64Range(0, 120).Draw(t, "most"), Spare: rapid.Uint64Range(0, 20).Draw(t, "spare")}
		now := at.Add(time.Duration(rapid.IntRange(-2, 3).Draw(t, "now")) * oneDay).Add(time.Duration(rapid.IntRange(-1, 1).Draw(t, "edge")))
		goes := map[string]bool{}
		var got []string
		for _, d := range planFiles(files, limit, now) {
			goes[d.File] = true
			got = append(got, d.File)
			if d.Class != journal.Readings || d.Bytes <= 0 || d.UpTo <= 0 {
				t.Fatalf("%+v", d)
			}
		}
		if !slices.IsSorted(got) {
			t.Fatalf("not in their order: %v", got)
		}
		left := int64(0)
		for _, f := range files {
			left += f.bytes
		}
		for _, f := range files {
			may := !f.newest && (limit.Spare == 0 || f.sum.lastOrd < limit.Spare)
			old := limit.Age > 0 && now.Sub(f.begins.Add(oneDay)) >= limit.Age
			large := limit.Bytes > 0 && left > limit.Bytes
			if want := may && (old || large); goes[f.file] != want {
				t.Fatalf("file %s goes: %v, want %v; it may: %v, is old: %v, there are %d bytes of %d", f.file, goes[f.file], want, may, old, left, limit.Bytes)
			}
			if goes[f.file] {
				left -= f.bytes
			}
		}
	})
}

// Ages are in doubt exactly while a week lies between some day of readings and the next, or
// now, and fewer than three days have come since.
func TestDoubtAgainstAReference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		midnight := journaltest.Noon / sample.Instant(oneDay) * sample.Instant(oneDay)
		days := rapid.SliceOfN(rapid.IntRange(0, 40), 0, 8).Draw(t, "days")
		now := midnight.Add(time.Duration(rapid.IntRange(0, 60).Draw(t, "now"))*oneDay + time.Duration(rapid.IntRange(-1, 1).Draw(t, "edge")))
		var files []sized
		for _, d := range days {
			files = append(files, sized{begins: midnight.Add(time.Duration(d) * oneDay)})
		}
		got := doubt(files, now) != ""
		slices.Sort(days)
		want := false
		for i, d := range days {
			next := now
			if i+1 < len(days) {
				next = midnight.Add(time.Duration(days[i+1]) * oneDay)
			}
			since := len(days) - 1 - i // days of readings after the hole
			want = want || since < settled && next.Sub(midnight.Add(time.Duration(d)*oneDay)) > 7*oneDay
		}
		if got != want {
			t.Fatalf("days %v, now %v: in doubt %v, want %v", days, now, got, want)
		}
	})
}

// Which entries of a kind go is held to what limits mean, entry by entry: those before the
// first that is young enough, and those with which all from there on would be too much;
// none that has to be spared. Nothing else goes, and what went leaves no hole.
func TestRetireEntriesAgainstAReference(t *testing.T) {
	checks(t, "40")
	s := mustOpen(t, t.TempDir())
	rapid.Check(t, func(rt *rapid.T) {
		// All of the time before goes, so that one record does.
		empty := plan(t, s, journal.Limits{journal.Marks: {Bytes: 1}, journal.Faults: {Bytes: 1}}, journaltest.Noon)
		if err := s.Retire(t.Context(), empty); err != nil {
			rt.Fatal(err)
		}
		base := s.head.position()
		var all []record.Entry
		for i := range rapid.IntRange(1, 14).Draw(rt, "entries") {
			e := journaltest.Mark(fmt.Sprintf("%0*d", rapid.IntRange(1, 40).Draw(rt, "long"), i))
			e.At = journaltest.Noon + sample.Instant(rapid.IntRange(-3, 3).Draw(rt, "hour"))*sample.Instant(time.Hour)
			if rapid.IntRange(0, 3).Draw(rt, "other") == 0 {
				e.Body = record.Fault{Subject: "bridge", Text: fmt.Sprint(i)}
			}
			all = append(all, e)
		}
		if _, err := s.Append(t.Context(), all...); err != nil {
			rt.Fatal(err)
		}
		limit := journal.Limit{Age: time.Duration(rapid.IntRange(0, 3).Draw(rt, "age")) * time.Hour,
			Bytes: rapid.Int64Range(0, 700).Draw(rt, "most"), Spare: rapid.Uint64Range(0, 15).Draw(rt, "spare")}
		if limit.Spare > 0 {
			limit.Spare += uint64(base)
		}
		now := journaltest.Noon.Add(time.Hour)

		// The reference looks at every mark by itself.
		var marks []record.Entry
		for i, e := range all {
			e.Position = base + record.Position(i+1)
			if e.Body.Kind() == record.KindMark {
				marks = append(marks, e)
			}
		}
		size := func(e record.Entry) int64 { b, _ := e.Append(nil); return int64(len(b)) }
		goes := map[record.Position]bool{}
		wantBytes := int64(0)
		for i, e := range marks {
			old := limit.Age > 0
			for _, before := range marks[:i+1] {
				old = old && before.At < now.Add(-limit.Age)
			}
			from := int64(0)
			for _, after := range marks[i:] {
				from += size(after)
			}
			if (old || limit.Bytes > 0 && from > limit.Bytes) && (limit.Spare == 0 || uint64(e.Position) < limit.Spare) {
				goes[e.Position] = true
				wantBytes += size(e)
			}
		}
		p := plan(t, s, journal.Limits{journal.Marks: limit}, now)
		shown, bytes := 0, int64(0)
		for _, d := range p.Deletions {
			shown, bytes = shown+d.Count, bytes+d.Bytes
		}
		if shown != len(goes) || bytes != wantBytes {
			rt.Fatalf("%d marks of %d bytes are shown, want %d of %d", shown, bytes, len(goes), wantBytes)
		}
		if err := s.Retire(t.Context(), p); err != nil {
			rt.Fatal(err)
		}
		var want []record.Position
		for i := range all {
			if p := base + record.Position(i+1); !goes[p] {
				want = append(want, p)
			}
		}
		if got := positions(t, s, journal.Query{}); !slices.Equal(got, want) {
			rt.Fatalf("left are %v, want %v", got, want)
		}
		if h, err := s.Head(t.Context()); err != nil || h.Position != base+record.Position(len(all)) {
			rt.Fatalf("head %+v, %v", h, err)
		}
	})
	journaltest.Sound(t, s)
}

// A plan shows what there is; what has come since stays, though it is as old as what goes:
// history of long ago that was written late, and what was the newest version of a document
// when the plan was made.
func TestWhatCameSinceThePlanStays(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	ctx := t.Context()
	long := journaltest.Noon.Add(-30 * oneDay)
	put := func(name string, version uint64) {
		t.Helper()
		if _, err := s.PutDocument(ctx, record.Document{Name: name, Version: version, Written: long, Body: []byte{byte(version)}}); err != nil {
			t.Fatal(err)
		}
	}
	history := func(series string, at sample.Instant) {
		t.Helper()
		if err := s.PutHistory(ctx, record.Stretch{Place: "bed-4", Series: series, Tier: record.Second, Points: []record.Point{{At: at / 1e9 * 1e9, Mean: 1}}}); err != nil {
			t.Fatal(err)
		}
	}
	put("newest then", 0)
	put("former then", 0)
	put("former then", 1)
	history("peak", long)
	history("peak", journaltest.Noon)
	p := plan(t, s, journal.Limits{journal.Former: {Age: oneDay}, journal.Seconds: {Age: oneDay}}, journaltest.Noon.Add(oneDay/2))
	if len(p.Deletions) != 2 || p.Deletions[0].Count != 1 || p.Deletions[1].Count != 1 {
		t.Fatalf("shown are %+v", p.Deletions)
	}
	put("newest then", 1)
	history("peak", long.Add(time.Second)) // in the same window as what goes
	history("mean", long)
	if err := s.Retire(ctx, p); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Document(ctx, "newest then", 1); err != nil {
		t.Errorf("a version that was the newest when the plan was made is gone: %v", err)
	}
	if _, err := s.Document(ctx, "former then", 1); err == nil {
		t.Error("a version that was shown is there")
	}
	for series, want := range map[string]int{"peak": 2, "mean": 1} {
		if got, err := s.History(ctx, "bed-4", series, record.Second, sample.Past, sample.Never, nil); err != nil || len(got) != want {
			t.Errorf("%d points of %s, want %d; %v", len(got), series, want, err)
		}
	}
	// The next plan shows them.
	p = plan(t, s, journal.Limits{journal.Former: {Age: oneDay}, journal.Seconds: {Age: oneDay}}, journaltest.Noon.Add(oneDay/2))
	if len(p.Deletions) != 2 || p.Deletions[0].Count+p.Deletions[1].Count != 3 {
		t.Errorf("shown next are %+v", p.Deletions)
	}
}

// More goes than fits into one transaction, and who appends meanwhile is not kept from it.
// All that was shown goes, and its room says no text of it any more.
func TestRetireManyAtOnce(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	var all []record.Entry
	for range 2*retiredAtOnce + 1 {
		all = append(all, journaltest.Mark(told))
	}
	if _, err := s.Append(t.Context(), all...); err != nil {
		t.Fatal(err)
	}
	stays := journaltest.Mark("stays")
	stays.At += 1e9
	if _, err := s.Append(t.Context(), stays); err != nil {
		t.Fatal(err)
	}
	p := plan(t, s, journal.Limits{journal.Marks: {Age: time.Hour}}, (journaltest.Noon + 1e9).Add(time.Hour))
	if len(p.Deletions) != 1 || p.Deletions[0].Count != len(all) || p.Deletions[0].UpTo != int64(len(all)) {
		t.Fatalf("shown are %+v", p.Deletions)
	}
	if err := s.Retire(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	if got := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})); len(got) != 1 || got[0].Body.(record.Mark).Text != "stays" {
		t.Errorf("%d entries are left", len(got))
	}
	journaltest.Sound(t, s)
	s.Close() // which puts the log into the file
	anywhere(t, dir, told)
}
