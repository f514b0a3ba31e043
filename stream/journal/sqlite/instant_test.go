package sqlite

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// While a backup copies, everything goes on: what is kept, changed and deleted meanwhile,
// in a file that has been copied, in one that has not, and in one that goes altogether, is
// not in it, and does not keep it from being whole. It is the record as it was when the
// backup began, to the last document.
func TestABackupIsOfOneInstant(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	want := &journaltest.Memory{}
	for n := range seconds {
		for _, j := range []journal.Journal{s, want} {
			if err := second(t.Context(), j, n, secondAt(n)); err != nil {
				t.Fatal(err)
			}
		}
	}
	n, retired := seconds, false
	to := filepath.Join(t.TempDir(), "backup")
	m, err := s.Backup(t.Context(), to, func(int64, int64) {
		if err := second(t.Context(), s, n, secondAt(seconds-1)); err != nil {
			t.Error(err)
		}
		n++
		if d, err := s.Document(t.Context(), "calibration/04", 0); err != nil {
			t.Error(err)
		} else if _, err := s.PutDocument(t.Context(), record.Document{Name: d.Name, Version: d.Version, Body: []byte("later")}); err != nil {
			t.Error(err)
		}
		if !retired {
			retired = true
			if err := s.Retire(t.Context(), plan(t, s, journal.Limits{journal.Marks: {Bytes: 1}}, secondAt(seconds))); err != nil {
				t.Error(err)
			}
			for _, one := range s.days.list() {
				if one.file == dayFile(secondAt(0)) && one.file != s.days.current {
					if err := s.days.retire(t.Context(), journal.Deletion{Class: journal.Readings, File: one.file, UpTo: int64(one.sum.lastOrd)}); err != nil {
						t.Error(err)
					}
				}
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if n == seconds || s.head.position() <= m.Position {
		t.Fatal("nothing went on meanwhile, so that nothing is tested")
	}
	r := restored(t, to)
	if gone, told := missingOf(t, r, want); gone.count() > 0 || len(told) > 0 {
		t.Errorf("%v is not in it, %v is told", gone, told)
	}
	h, err := r.Head(t.Context())
	if w, _ := want.Head(t.Context()); err != nil || h != w || h.Position != m.Position || h.Ord != m.Ord {
		t.Errorf("it ends with %+v, want %+v; the manifest says %d and %d; %v", h, w, m.Position, m.Ord, err)
	}
	if got := journaltest.Gather(t, r.Entries(t.Context(), journal.Query{})); len(got) != 2*seconds {
		t.Errorf("%d entries, want %d", len(got), 2*seconds)
	}
	if d, err := r.Document(t.Context(), "calibration/04", 0); err != nil || d.Version != 1 {
		t.Errorf("a document that changed meanwhile has version %d, %v", d.Version, err)
	}
	journaltest.Sound(t, r)
}

// What lies where a backup or a restored record is to go stays: a file is not replaced by
// a folder, and nothing of the backup is beside it.
func TestBackupsReplaceNothing(t *testing.T) {
	s := begun(t, t.TempDir())
	dir := t.TempDir()
	file := filepath.Join(dir, "thesis.txt")
	if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Backup(t.Context(), file, nil); err == nil {
		t.Error("a file was replaced by a backup")
	}
	if b, err := os.ReadFile(file); err != nil || string(b) != "mine" {
		t.Errorf("the file is %q now, %v", b, err)
	}
	if all, _ := os.ReadDir(dir); len(all) != 1 {
		t.Errorf("beside it: %v", all)
	}
	to := filepath.Join(dir, "backup")
	if err := os.Mkdir(to, 0o755); err != nil { // an empty folder is as good as none
		t.Fatal(err)
	}
	if _, err := s.Backup(t.Context(), to, nil); err != nil {
		t.Fatal(err)
	}
	for _, where := range []string{file, to} {
		if err := Restore(t.Context(), to, where); err == nil {
			t.Errorf("restored over %s", filepath.Base(where))
		}
	}
	if b, err := os.ReadFile(file); err != nil || string(b) != "mine" {
		t.Errorf("the file is %q now, %v", b, err)
	}
	// A restoring that was given up has made nothing, or nothing that is a record.
	ctx, stop := context.WithCancel(t.Context())
	stop()
	given := filepath.Join(dir, "given-up")
	if err := Restore(ctx, to, given); !errors.Is(err, context.Canceled) {
		t.Errorf("given up: %v", err)
	}
	if _, err := os.Stat(filepath.Join(given, mainName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is a main file: %v", err)
	}
}

// A manifest that was changed by hand does not pass: one that leaves a file out, names one
// outside of the folder, or says that there was more than there is.
func TestManifestsThatDoNotFit(t *testing.T) {
	_, _, closed := fixture(t)
	s := mustOpen(t, closed)
	image := filepath.Join(t.TempDir(), "backup")
	if _, err := s.Backup(t.Context(), image, nil); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(m *Manifest){
		"a day is left out":        func(m *Manifest) { m.Files = m.Files[:len(m.Files)-1] },
		"the main file left out":   func(m *Manifest) { m.Files = m.Files[1:] },
		"no files":                 func(m *Manifest) { m.Files = nil },
		"more entries":             func(m *Manifest) { m.Position++ },
		"more blocks":              func(m *Manifest) { m.Sources[sources[0]] += 3 },
		"a source of its own":      func(m *Manifest) { m.Sources["hub/none"] = 1 },
		"a file outside":           func(m *Manifest) { m.Files[1].Name = "../" + m.Files[1].Name },
		"a path within":            func(m *Manifest) { m.Files[1].Name = "./" + m.Files[1].Name },
		"another's sum":            func(m *Manifest) { m.Files[0].SHA256 = m.Files[1].SHA256 },
		"another's size":           func(m *Manifest) { m.Files[0].Bytes++ },
		"a later form of manifest": func(m *Manifest) { m.Format = 2 },
	} {
		dir := filepath.Join(t.TempDir(), "backup")
		if err := os.Rename(copyDir(t, image), dir); err != nil {
			t.Fatal(err)
		}
		m, err := readManifest(dir)
		if err != nil {
			t.Fatal(err)
		}
		if name == "a file outside" { // it is there, as it says
			copyTest(t, filepath.Join(dir, "..", m.Files[1].Name), filepath.Join(dir, m.Files[1].Name))
		}
		change(m)
		text, err := json.Marshal(m)
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, manifestName), text, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		if err := Restore(t.Context(), dir, filepath.Join(t.TempDir(), "x")); err == nil {
			t.Errorf("%s: it was restored", name)
		}
	}
	// What is not of the backup and lies in its folder is not restored either.
	dir := copyDir(t, image)
	stray := dayFile(secondAt(0).Add(240 * time.Hour))
	copyTest(t, filepath.Join(dir, stray), filepath.Join(dir, dayFile(secondAt(0))))
	to := filepath.Join(t.TempDir(), "x")
	if err := Restore(t.Context(), dir, to); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(to); len(left) != 3 || strings.Contains(left[2].Name(), stray) {
		t.Errorf("restored are %v", left)
	}
}
