package sqlite

import (
	"bytes"
	"database/sql"
	"errors"
	"maps"
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

// contents returns what is in every file of a folder but the reserve and the indexes of
// logs, which say nothing that is not in the logs.
func contents(t testing.TB, dir string) map[string][]byte {
	t.Helper()
	all := imageOf(t, dir)
	maps.DeleteFunc(all, func(name string, _ []byte) bool { return strings.HasSuffix(name, "-shm") })
	return all
}

// unchanged fails the test if a file that was there is not as it was.
func unchanged(t testing.TB, what string, before, after map[string][]byte) {
	t.Helper()
	for name, b := range before {
		if got, there := after[name]; !there || !bytes.Equal(got, b) {
			t.Errorf("%s: %s, of %d bytes, has %d now, or others; there: %v", what, name, len(b), len(got), there)
		}
	}
}

// A reader that is the last to close a file leaves the file and its log as they are: it
// would put the log away by its name, and while a file is mended the log of that name
// may be that of the new one, with what has been acknowledged since.
func TestReadersLeaveLogsAlone(t *testing.T) {
	_, crashed, _ := fixture(t)
	before := contents(t, crashed)
	if len(before[mainName+"-wal"]) == 0 || len(before[dayFile(secondAt(seconds-1))+"-wal"]) == 0 {
		t.Fatal("the image has no logs, so that nothing is tested")
	}
	for name := range before {
		if !strings.HasSuffix(name, daySuffix) {
			continue
		}
		db, err := connect(filepath.Join(crashed, name), reading)
		if err != nil {
			t.Fatal(err)
		}
		var n int
		if err := db.QueryRow("SELECT count(*) FROM progress").Scan(&n); err != nil || n == 0 {
			t.Errorf("%s: %d rows, %v", name, n, err)
		}
		if _, err := db.Exec("DELETE FROM progress"); err == nil {
			t.Errorf("%s: a reader could write", name)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
	unchanged(t, "read by a connection", before, contents(t, crashed))

	s, err := Look(t.Context(), crashed)
	if err != nil {
		t.Fatal(err)
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 22*seconds {
		t.Errorf("a look sees %d inputs, want %d", len(got), 22*seconds)
	}
	journaltest.Gather(t, s.Entries(t.Context(), journal.Query{}))
	journaltest.Sound(t, s)
	if err := s.Mend(t.Context()); err != nil {
		t.Errorf("nothing is to be mended: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	unchanged(t, "looked at", before, contents(t, crashed))
}

// A record that is being read when its day ends keeps the log of that day. The next
// start puts it into the file, which is then whole by itself again.
func TestLogsArePutAwayLater(t *testing.T) {
	dir := t.TempDir()
	s := begun(t, dir)
	day := filepath.Join(dir, dayFile(secondAt(0)))
	release := pin(t, day)
	if err := second(t.Context(), s, 1, secondAt(1)); err != nil {
		t.Fatal(err)
	}
	if err := second(t.Context(), s, 2, secondAt(seconds)); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	release()
	if info, err := os.Stat(day + "-wal"); err != nil || info.Size() == 0 {
		t.Fatalf("the log is gone although it was read: %v", err)
	}
	s = mustOpen(t, dir)
	for _, suffix := range []string{"-wal", "-shm", "-journal"} {
		if _, err := os.Stat(day + suffix); !os.IsNotExist(err) {
			t.Errorf("after the next start there is %s: %v", filepath.Base(day)+suffix, err)
		}
	}
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 3*22 {
		t.Errorf("%d inputs, want %d", len(got), 3*22)
	}
	journaltest.Sound(t, s)
	alone := filepath.Join(t.TempDir(), "alone.db")
	copyTest(t, alone, day)
	still, err := connectStill(alone)
	if err != nil {
		t.Fatal(err)
	}
	defer still.Close()
	var n int
	if err := still.QueryRow("SELECT count(*) FROM blocks").Scan(&n); err != nil || n != 2*3 {
		t.Errorf("without its log the file has %d blocks, want %d; %v", n, 2*3, err)
	}
}

// What a look finds is what had been kept when it began: nothing that came after, and
// all that came before, though files come, grow and go meanwhile.
func TestALookIsOfOneInstant(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	diary(t, s, 3)
	l, err := Look(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	before := what(t, l)
	head, err := l.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	now := journaltest.Noon.Add(3 * oneDay)
	b := []record.Block{journaltest.Block("hub/new", 5000, 1, 10, now), journaltest.Block("hub/late", 5100, 1, 10, journaltest.Noon.Add(2*oneDay))}
	for i := range b { // one in a file of its own, one in one that the look knows
		if err := s.AppendReadings(t.Context(), b[i:i+1], nil); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("later"), journaltest.Act(6000)); err != nil {
		t.Fatal(err)
	}
	if got := what(t, l); !mapsEqual(got, before) {
		t.Errorf("there is %v, there was %v", got, before)
	}
	if h, err := l.Head(t.Context()); err != nil || h != head {
		t.Errorf("the head moved from %+v to %+v, %v", head, h, err)
	}
	if err := s.Retire(t.Context(), plan(t, s, journal.Limits{journal.Readings: {Age: 36 * time.Hour}}, now)); err != nil {
		t.Fatal(err)
	}
	inputs, _ := journaltest.Losses(t, l.Inputs(t.Context(), 0, math.MaxUint64)) // what is deleted cannot be read any more
	for _, in := range inputs {
		if in.Ord <= 100 || in.Ord > head.Ord {
			t.Errorf("ordinal %d is there", in.Ord)
		}
	}
}

// Whoever looks where there is nothing of ours says so, and makes nothing.
func TestLookingForARecord(t *testing.T) {
	dir := t.TempDir()
	if _, err := Look(t.Context(), dir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("an empty folder: %v", err)
	}
	for name, statement := range map[string]string{
		"somebody's":      "CREATE TABLE customers(id)",
		"a newer version": mainSchema + "PRAGMA application_id=2003135588; PRAGMA user_version=2",
		"a day's":         daySchema + "PRAGMA application_id=2003135602; PRAGMA user_version=1",
	} {
		dir := t.TempDir()
		db, err := sql.Open("sqlite", filepath.Join(dir, mainName))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(statement); err != nil {
			t.Fatal(err)
		}
		db.Close()
		before := contents(t, dir)
		if _, err := Look(t.Context(), dir); !errors.Is(err, journal.ErrForeign) {
			t.Errorf("%s: %v", name, err)
		}
		unchanged(t, name, before, contents(t, dir))
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) > 0 {
		t.Errorf("looking made %v, %v", entries, err)
	}
	if got, want := int64(dayID), int64(2003135602); got != want {
		t.Errorf("the mark of a day's file is %d, want %d", got, want)
	}
}

// Instants at either end of what can be said ask for everything, or for nothing.
func TestAllOfTime(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	diary(t, s, 2)
	all := len(journaltest.Gather(t, s.Readings(t.Context(), "hub/mat", sample.Past, sample.Never)))
	if all != 6 {
		t.Errorf("%d blocks of all time, want 6", all)
	}
	for _, r := range [][2]sample.Instant{{sample.Never, sample.Past}, {sample.Past, sample.Past}, {sample.Never, sample.Never}, {journaltest.Noon, journaltest.Noon}} {
		if got := journaltest.Gather(t, s.Readings(t.Context(), "hub/mat", r[0], r[1])); len(got) > 0 {
			t.Errorf("from %v to %v there are %d blocks", r[0], r[1], len(got))
		}
		if _, _, err := s.Span(t.Context(), r[0], r[1]); !errors.Is(err, journal.ErrNotFound) {
			t.Errorf("from %v to %v there is a span: %v", r[0], r[1], err)
		}
		if got, err := s.History(t.Context(), "bed-4", "peak", record.Minute, r[0], r[1], nil); err != nil || len(got) > 0 {
			t.Errorf("from %v to %v there are %d points, %v", r[0], r[1], len(got), err)
		}
	}
	if a, b, err := s.Span(t.Context(), sample.Past, sample.Never); err != nil || a != 1 || b != 160 {
		t.Errorf("the span of all time is %d to %d, %v", a, b, err)
	}
	if got := journaltest.Gather(t, s.Readings(t.Context(), "", sample.Past, sample.Never)); len(got) > 0 {
		t.Errorf("ticks came as readings: %d", len(got))
	}
}
