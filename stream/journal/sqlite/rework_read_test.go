package sqlite

import (
	"bytes"
	"database/sql"
	"errors"
	"path/filepath"
	"testing"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// pin begins to read a file, and goes on until the function that it returns is called.
func pin(t testing.TB, path string) (release func()) {
	t.Helper()
	db, err := connect(path, reading)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := db.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var n int
	if _, err := conn.ExecContext(t.Context(), "BEGIN"); err != nil {
		t.Fatal(err)
	}
	if err := conn.QueryRowContext(t.Context(), "SELECT count(*) FROM progress").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return func() { conn.Close(); db.Close() }
}

// Somebody still reads the record as it was before a rework: it cannot leave the files
// then, and whoever asked for it must not be told that it has. When the reader has gone
// and the record was closed, it has.
func TestReworkTellsWhoStillReads(t *testing.T) {
	for name, file := range map[string]string{"the main file": mainName, "a day": dayFile(journaltest.Noon)} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := mustOpen(t, dir)
			spoken(t, s)
			w := personal([]Blank{{Source: "hub/a", From: sample.Past, To: sample.Never}}, nil)
			for _, db := range []*sql.DB{s.main.w, s.days.w} { // or it waits for the reader
				if _, err := db.Exec("PRAGMA busy_timeout(0)"); err != nil {
					t.Fatal(err)
				}
			}
			release := pin(t, filepath.Join(dir, file))
			if _, err := s.Rework(t.Context(), w); !errors.Is(err, errStillRead) {
				t.Errorf("while it is read: %v", err)
			}
			release()
			if n, err := s.Rework(t.Context(), w); err != nil || n.Blocks != 0 {
				t.Errorf("when it is not: %+v, %v", n, err)
			}
			anywhere(t, dir, told)
			journaltest.Sound(t, s)
		})
	}
}

// What nobody can read any more is looked through all the same: where it has something of
// the person in its bytes it is emptied, and is a loss as it was; where it has not, it
// stays as it is, for whoever can still make something of it.
func TestReworkOfWhatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	spoken(t, s)
	if err := s.AppendReadings(t.Context(), []record.Block{journaltest.Block("hub/b", 11, 1, 10, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.PutHistory(t.Context(), record.Stretch{Place: "bed-4", Series: "peak", Tier: record.Second, Points: []record.Point{{At: journaltest.Noon}}},
		record.Stretch{Place: "bed-5", Series: "peak", Tier: record.Second, Points: []record.Point{{At: journaltest.Noon}}}); err != nil {
		t.Fatal(err)
	}
	const cut = "CAST(substr(body, 1, length(body) - 4) || x'00000000' AS BLOB)"
	for _, q := range []string{"UPDATE entries SET body = " + cut + " WHERE position IN (1, 2)", // one of the person, one of another
		"UPDATE documents SET body = " + cut + " WHERE id <= 4", "UPDATE history SET body = " + cut} {
		if _, err := s.main.w.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.days.w.Exec("UPDATE blocks SET body = " + cut); err != nil {
		t.Fatal(err)
	}
	bodies := func() (all [][]byte) {
		for _, q := range []string{"SELECT body FROM entries WHERE position < 3 ORDER BY position", "SELECT body FROM documents WHERE id <= 4 ORDER BY id"} {
			some, err := collect(t.Context(), s, q, nil, scanBody)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, some...)
		}
		return all
	}
	lostBefore, _ := lostByCheck(t, s)
	before := bodies()
	if n, err := s.Rework(t.Context(), personal([]Blank{{Source: "hub/a", From: sample.Past, To: sample.Never}}, []Span{{"bed-4", sample.Past, sample.Never}})); err != nil || n.Blocks != 0 || n.Stretches != 1 {
		t.Fatalf("%+v, %v", n, err)
	}
	anywhere(t, dir, told)
	for i, b := range bodies() {
		want := before[i]
		if bytes.Contains(want, []byte(told)) {
			want = make([]byte, len(want))
		}
		if !bytes.Equal(b, want) {
			t.Errorf("body %d became %q, want %q", i, b, want)
		}
	}
	// A source that was not meant keeps its damaged bytes; history of another place too.
	if got, err := s.History(t.Context(), "bed-5", "peak", record.Second, sample.Past, sample.Never, nil); len(got) > 0 || !errors.As(err, new(*journal.Loss)) {
		t.Errorf("of another place: %v, %v", got, err)
	}
	if got, err := s.History(t.Context(), "bed-4", "peak", record.Second, sample.Past, sample.Never, nil); len(got) > 0 || err != nil {
		t.Errorf("of this place: %v, %v", got, err)
	}
	if err := s.days.turn(t.Context(), dayFile(journaltest.Noon)); err != nil {
		t.Fatal(err)
	}
	var empty, full int
	if err := s.days.w.QueryRow("SELECT sum(body = zeroblob(length(body))), sum(length(body) > 0) FROM blocks").Scan(&empty, &full); err != nil || empty != 1 || full != 2 {
		t.Errorf("%d blocks of %d were emptied, %v", empty, full, err)
	}
	lostAfter, _ := lostByCheck(t, s)
	for source := range lostBefore {
		if lostBefore.count() != lostAfter.count() || len(lostBefore[source]) != len(lostAfter[source]) {
			t.Errorf("%v was lost, and %v is now", lostBefore, lostAfter)
		}
	}
}

// Nobody reworks a record that is another process's, or one machine's copy of what
// several keep: the log that they share has all of it too.
func TestReworkRefuses(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	spoken(t, s)
	l, err := Look(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := l.Rework(t.Context(), personal(nil, nil)); !errors.Is(err, journal.ErrInUse) {
		t.Errorf("of a record that is looked at: %v", err)
	}
	if err := s.Follow(t.Context(), Followed{Log: "log", Applied: 1, Next: 2}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Rework(t.Context(), personal(nil, nil)); !errors.Is(err, ErrFollows) {
		t.Errorf("of a copy: %v", err)
	}
	if n := len(journaltest.Gather(t, s.Documents(t.Context(), "account/"+told))); n != 4 {
		t.Errorf("%d documents are as they were, want 4", n)
	}
}
