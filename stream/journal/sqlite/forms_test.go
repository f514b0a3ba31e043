package sqlite

import (
	"database/sql"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// other opens a file as any other program would: without changing how it is written.
func other(t testing.TB, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range statements {
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// What is somebody else's, or a newer version's, is left as it is to the last byte: not
// even how it is written changes. The marks stand here once more, as files have them.
func TestForeignFilesKeepEveryByte(t *testing.T) {
	for name, statement := range map[string]string{
		"somebody's tables":    "CREATE TABLE customers(id); INSERT INTO customers VALUES(1)",
		"somebody's mark":      "PRAGMA application_id=77",
		"a newer version":      "CREATE TABLE entries(x); PRAGMA application_id=2003135588; PRAGMA user_version=2",
		"a day's file":         daySchema + "PRAGMA application_id=2003135602; PRAGMA user_version=1",
		"our tables, and more": mainSchema + "CREATE TABLE more(x); PRAGMA application_id=1; PRAGMA user_version=1",
	} {
		dir := t.TempDir()
		other(t, filepath.Join(dir, mainName), statement)
		before := contents(t, dir)
		if _, err := Open(t.Context(), dir, Options{Reserve: -1}); !errors.Is(err, journal.ErrForeign) {
			t.Errorf("%s: %v", name, err)
		}
		unchanged(t, name, before, contents(t, dir))
		if left, _ := filepath.Glob(filepath.Join(dir, "*-*")); len(left) > 0 {
			t.Errorf("%s: left beside it: %v", name, left)
		}
	}
}

// A day's file of a newer version keeps the record from being opened, by name, and is
// left as it is; so is the main file. With that file put aside, the rest can be had.
func TestANewerDay(t *testing.T) {
	_, _, closed := fixture(t)
	newer := dayFile(secondAt(seconds + 86400)) // one that no version of this form knows of
	other(t, filepath.Join(closed, newer), "CREATE TABLE blocks(x); PRAGMA application_id=2003135602; PRAGMA user_version=2")
	before := contents(t, closed)
	_, err := Open(t.Context(), closed, Options{Reserve: -1})
	if !errors.Is(err, journal.ErrForeign) || !strings.Contains(err.Error(), newer) || !strings.Contains(err.Error(), "newer version") {
		t.Errorf("opened with a day of a newer version: %v", err)
	}
	unchanged(t, "a newer day", map[string][]byte{newer: before[newer]}, contents(t, closed))
	if left, _ := filepath.Glob(filepath.Join(closed, "*"+damagedMark+"*")); len(left) > 0 {
		t.Errorf("it was taken for damaged: %v", left)
	}
	if err := os.Rename(filepath.Join(closed, newer), filepath.Join(t.TempDir(), newer)); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, closed)
	if got := journaltest.Gather(t, s.Inputs(t.Context(), 0, math.MaxUint64)); len(got) != 22*seconds {
		t.Errorf("%d inputs, want %d", len(got), 22*seconds)
	}
	journaltest.Sound(t, s)
}

// A mark that is wrong beside tables that are right is damage, and is put right: nothing
// is lost, and nothing is built anew. The other way round, a file with our mark and other
// tables is built anew from what is whole in it.
func TestMarksAndTables(t *testing.T) {
	want, _, closed := fixture(t)
	for _, file := range []string{mainName, dayFile(secondAt(seconds - 1))} {
		for _, mark := range []string{"PRAGMA application_id=0; PRAGMA user_version=0", "PRAGMA user_version=0", "PRAGMA user_version=9", "PRAGMA application_id=5"} {
			dir := copyDir(t, closed)
			other(t, filepath.Join(dir, file), mark)
			if file != mainName { // a sealed file is not looked at before it is read
				other(t, filepath.Join(dir, mainName), "DELETE FROM progress WHERE key = 'sources'")
			}
			s := mustOpen(t, dir)
			if gone, told := missingOf(t, s, want); gone.count() > 0 || len(told) > 0 || len(s.mended()) > 0 {
				t.Errorf("%s, %s: %v is gone, %v told, %v mended", file, mark, gone, told, s.mended())
			}
			s.Close()
			db, err := connect(filepath.Join(dir, file), reading)
			if err != nil {
				t.Fatal(err)
			}
			id, version, err := marks(t.Context(), db)
			if wantID := map[bool]int64{true: mainID, false: dayID}[file == mainName]; id != wantID || version != schemaVersion || err != nil {
				t.Errorf("%s, %s: it says %d and %d now, %v", file, mark, id, version, err)
			}
			db.Close()
		}
	}
	for _, damage := range []string{"DROP INDEX entries_place", "CREATE TABLE more(x)", "DROP TABLE snapshots"} {
		dir := copyDir(t, closed)
		other(t, filepath.Join(dir, mainName), damage, "PRAGMA user_version=0")
		s := mustOpen(t, dir)
		if gone, told := missingOf(t, s, want); gone.count() > 0 || len(told) > 0 || len(s.mended()) != 1 {
			t.Errorf("%s: %v is gone, %v told, %v mended", damage, gone, told, s.mended())
		}
		journaltest.Sound(t, s)
		s.Close()
	}
}

// Bodies that this version cannot read, since a newer one wrote them, are told as what
// they are. Mending cannot take them over, and leaves them in the file that it puts aside.
func TestNewerBodiesStay(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	if _, err := s.Append(t.Context(), journaltest.Mark("one"), journaltest.Mark("two"), journaltest.Mark("three")); err != nil {
		t.Fatal(err)
	}
	e := journaltest.Mark("two")
	e.Position = 2
	body, err := e.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	newer := slices.Clone(body[:len(body)-4])
	newer[1] = 200 // the version of its form
	newer = binary.LittleEndian.AppendUint32(newer, crc32.Checksum(newer, crc32.MakeTable(crc32.Castagnoli)))
	if _, err := s.main.w.Exec("UPDATE entries SET body = ? WHERE position = 2", newer); err != nil {
		t.Fatal(err)
	}
	told := func() {
		t.Helper()
		entries, lost := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{}))
		if len(entries) != 2 || len(lost) != 1 || lost[0].First != 2 || !errors.Is(lost[0], record.ErrNewer) {
			t.Errorf("%d entries, and told %v", len(entries), lost)
		}
	}
	told()
	if err := s.mendMain(errCorrupt, 0); err != nil {
		t.Fatal(err)
	}
	// The damaged file beside it still has what no version of today can keep.
	old, err := os.ReadFile(filepath.Join(dir, mainName+damagedMark+"1"))
	if err != nil {
		t.Fatal(err)
	}
	if log, err := os.ReadFile(filepath.Join(dir, mainName+damagedMark+"1-wal")); err == nil {
		old = append(old, log...)
	}
	if !strings.Contains(string(old), string(newer)) {
		t.Error("what a newer version wrote is in no file any more")
	}
}
