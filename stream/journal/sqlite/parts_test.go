package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	driver "modernc.org/sqlite"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// missing is held to what it means, number by number.
func TestMissing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(name string) uint64 { return rapid.Uint64Range(1, 30).Draw(t, name) }
		var there spans
		var gone []record.Retired
		in := map[uint64]bool{}
		for range rapid.IntRange(0, 6).Draw(t, "spans") {
			a := number("a")
			r := span{a, a + rapid.Uint64Range(0, 5).Draw(t, "b")}
			switch rapid.IntRange(0, 2).Draw(t, "kind") {
			case 0:
				there = append(there, r)
			case 1:
				gone = append(gone, record.Retired{Source: "a/b", First: r.first, Last: r.last})
			default:
				gone = append(gone, record.Retired{Source: "a/c", First: r.first, Last: r.last})
				continue
			}
			for n := r.first; n <= r.last; n++ {
				in[n] = true
			}
		}
		first, last := number("first"), number("last")
		got := map[uint64]bool{}
		for _, r := range missing(first, last, "a/b", gone, there) {
			if r.first > r.last {
				t.Fatalf("an empty span %v", r)
			}
			for n := r.first; n <= r.last; n++ {
				if got[n] {
					t.Fatalf("%d is told twice", n)
				}
				got[n] = true
			}
		}
		for n := uint64(0); n < 40; n++ {
			if want := n >= first && n <= last && !in[n]; got[n] != want {
				t.Fatalf("%d: missing %v, want %v", n, got[n], want)
			}
		}
	})
}

func TestWindows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tier := rapid.SampledFrom(record.Tiers()).Draw(t, "tier")
		at := sample.Instant(rapid.Int64Range(-4e18, 4e18).Draw(t, "at"))
		w, length := window(tier, at), windowOf(tier)
		if begin := sample.Instant(w) * length; at < begin || at >= begin+length {
			t.Fatalf("%v is not in window %d of %v", at, w, tier)
		}
		if length%sample.Instant(tier.Step()) != 0 {
			t.Fatalf("a window of %v is not a whole number of its steps", tier)
		}
	})
}

// A stretch is cut at the ends of windows, and nothing of it is lost or moved.
func TestCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := record.Stretch{Place: "p", Series: "s", Tier: rapid.SampledFrom(record.Tiers()).Draw(t, "tier")}
		step := sample.Instant(s.Tier.Step())
		at := sample.Instant(rapid.Int64Range(-1e6, 1e6).Draw(t, "from")) * step
		for range rapid.IntRange(1, 60).Draw(t, "points") {
			s.Points = append(s.Points, record.Point{At: at})
			at += step * sample.Instant(rapid.Int64Range(1, 300).Draw(t, "step"))
		}
		var all []record.Point
		last := int64(-1 << 62)
		for _, part := range cut(s) {
			w := window(s.Tier, part.Points[0].At)
			if w <= last || part.Place != "p" || part.Series != "s" || part.Tier != s.Tier {
				t.Fatalf("part %+v after window %d", part, last)
			}
			for _, p := range part.Points {
				if window(s.Tier, p.At) != w {
					t.Fatalf("%v is not in the window of its part", p.At)
				}
			}
			last = w
			all = append(all, part.Points...)
		}
		if !slices.Equal(all, s.Points) {
			t.Fatal("the parts are not the whole")
		}
	})
}

func TestVarint(t *testing.T) {
	for _, c := range []struct {
		b    []byte
		v    uint64
		size int
	}{
		{nil, 0, 0}, {[]byte{0x7f}, 127, 1}, {[]byte{0x81}, 0, 0}, {[]byte{0x81, 0x00}, 128, 2}, {[]byte{0x81, 0x01, 9}, 129, 2},
		{[]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, 1<<64 - 1, 9},
		{[]byte{0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x05}, 5, 9},
	} {
		if v, n := varint(c.b); v != c.v || n != c.size {
			t.Errorf("%x: %d in %d bytes, want %d in %d", c.b, v, n, c.v, c.size)
		}
	}
}

// Without its tree a file gives the same bodies as with it, of every size.
func TestPagesFindAll(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	want := map[string]bool{}
	for i := range 60 {
		d := record.Document{Name: fmt.Sprint(i), Version: 0, Body: make([]byte, i*i*13)}
		for k := range d.Body {
			d.Body[k] = byte(k * i)
		}
		if _, err := s.PutDocument(t.Context(), d); err != nil {
			t.Fatal(err)
		}
		d.Version = 1
		b, err := d.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		want[string(b)] = true
	}
	for _, where := range []string{"in the log", "in the file"} {
		path := filepath.Join(dir, mainName)
		p, err := openPages(path, path+"-wal")
		if err != nil {
			t.Fatal(err)
		}
		found := map[string]bool{}
		for b, err := range p.bodies(p.frames, true) {
			if err != nil {
				t.Fatal(err)
			}
			if form, _ := record.FormOf(b); form == record.FormDocument {
				found[string(b)] = true
			}
		}
		p.close()
		for b := range want {
			if !found[b] {
				t.Errorf("%s a body of %d bytes is not found", where, len(b))
			}
		}
		if len(found) != len(want) {
			t.Errorf("%s there are %d bodies, want %d", where, len(found), len(want))
		}
		s.Close()
	}
}

// A log that nothing happened to is whole to the last frame, as SQLite sees it.
func TestScanLog(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	long := strings.Repeat("x", 20*pageSize)
	for i := range 75 { // enough for the log to begin anew, over its former content
		if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint(i, long))); err != nil {
			t.Fatal(err)
		}
	}
	log := filepath.Join(dir, mainName+"-wal")
	scan, err := scanLog(log)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(log)
	if err != nil {
		t.Fatal(err)
	}
	room := int((info.Size() - logHeader) / frameSize)
	if scan.whole == 0 || scan.whole != len(scan.frames) || scan.whole >= room || len(scan.dropped()) > 0 {
		t.Errorf("%d frames, %d of them whole, in a log with room for %d; %d dropped", len(scan.frames), scan.whole, room, len(scan.dropped()))
	}
	for _, path := range []string{filepath.Join(dir, "nothing"), filepath.Join(dir, lockName)} {
		if scan, err := scanLog(path); err != nil || len(scan.frames) > 0 {
			t.Errorf("%s: %d frames, %v", path, len(scan.frames), err)
		}
	}
}

func TestDayFile(t *testing.T) {
	midnight := sample.At(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))
	for at, want := range map[sample.Instant]string{midnight - 1: "readings-2026-03-01.db", midnight: "readings-2026-03-02.db", 0: "readings-1970-01-01.db"} {
		if got := dayFile(at); got != want {
			t.Errorf("%v is in %s, want %s", at, got, want)
		}
	}
}

func TestTranslate(t *testing.T) {
	if err := translate(nil); err != nil {
		t.Errorf("nothing became %v", err)
	}
	plain := errors.New("plain")
	if err := translate(plain); err != plain {
		t.Errorf("a plain error became %v", err)
	}
	if err := translate(fmt.Errorf("writing: %w", syscall.ENOSPC)); !errors.Is(err, journal.ErrFull) {
		t.Errorf("no space became %v", err)
	}
	db, err := connect(filepath.Join(t.TempDir(), "x.db"), writing)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	_, err = db.ExecContext(context.Background(), "SELECT * FROM nothing")
	var e *driver.Error
	if err := translate(err); !errors.Is(err, errCorrupt) || !errors.As(err, &e) {
		t.Errorf("a table that is not there became %v", err)
	}
}

// Who no longer waits has its rows taken away, in the middle of one too. A file is not
// damaged for that, and nothing is built anew.
func TestImpatienceIsNoDamage(t *testing.T) {
	db, err := connect(filepath.Join(t.TempDir(), "x.db"), writing)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	seen := 0
	err = eachRow(ctx, db, "SELECT value FROM json_each('[1,2,3]')", nil, func(r *sql.Rows) error {
		seen++
		cancel()
		for {
			var n int64
			if err := r.Scan(&n); err != nil {
				return err
			}
		}
	})
	if seen != 1 || !errors.Is(err, context.Canceled) || errors.Is(err, errCorrupt) {
		t.Errorf("after %d rows, rows that nobody waits for became %v", seen, err)
	}
}

// Looking for a file does not make one: it would be taken for a day without
// readings.
func TestReadersMakeNoFiles(t *testing.T) {
	path := filepath.Join(t.TempDir(), dayFile(0))
	db, err := connect(path, reading)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.PingContext(t.Context()); err == nil {
		t.Error("a file that is not there can be read")
	}
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it is there now: %v", err)
	}
}

func TestReserve(t *testing.T) {
	r := reserve{filepath.Join(t.TempDir(), "reserve"), 3<<20 + 77}
	if r.held() {
		t.Error("it is there before it is made")
	}
	for range 2 {
		if err := r.hold(); err != nil || !r.held() {
			t.Fatalf("making it: %v", err)
		}
	}
	info, err := os.Stat(r.path)
	if err != nil || info.Size() != r.size {
		t.Fatalf("it has %d bytes, %v", info.Size(), err)
	}
	if taken := info.Sys().(*syscall.Stat_t).Blocks * 512; taken < r.size {
		t.Errorf("it takes %d bytes of the disk, less than it has", taken)
	}
	if err := os.Truncate(r.path, 5); err != nil || r.held() {
		t.Errorf("five bytes count as a reserve: %v", err)
	}
	if err := r.hold(); err != nil || !r.held() {
		t.Errorf("making it again: %v", err)
	}
	for range 2 {
		if err := r.release(); err != nil || r.held() {
			t.Errorf("giving it away: %v", err)
		}
	}
	if none := (&reserve{filepath.Join(t.TempDir(), "none"), 0}); !none.held() || none.hold() != nil {
		t.Error("no reserve is not as good as one")
	}
}
