package sqlite

import (
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// FuzzPages gives the reader of pages anything at all as a file and as a log.
// Whatever it yields is a whole body.
func FuzzPages(f *testing.F) {
	dir := f.TempDir()
	s := begun(f, dir)
	for _, name := range []string{mainName, dayFile(secondAt(0))} {
		log, err := os.ReadFile(filepath.Join(dir, name+"-wal"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add([]byte{}, log[:min(len(log), logHeader+6*frameSize)])
		f.Add(log[min(len(log), logHeader+frameHeader):min(len(log), logHeader+frameSize)], []byte{})
	}
	s.Close()
	tmp := f.TempDir()
	f.Fuzz(func(t *testing.T, file, log []byte) {
		if len(file) > 8*pageSize || len(log) > 8*frameSize {
			return // no more to learn, only slower
		}
		path := filepath.Join(tmp, "x")
		if err := errors.Join(os.WriteFile(path, file, 0o600), os.WriteFile(path+"-wal", log, 0o600)); err != nil {
			t.Fatal(err)
		}
		scan, err := scanLog(path + "-wal")
		if err != nil || scan.whole > len(scan.frames) {
			t.Fatalf("%d of %d frames are whole, %v", scan.whole, len(scan.frames), err)
		}
		for _, d := range scan.dropped() {
			if d.offset+pageSize > int64(len(log)) {
				t.Fatalf("a frame at %d of a log with %d bytes", d.offset, len(log))
			}
		}
		p, err := openPages(path, path+"-wal")
		if err != nil {
			t.Fatal(err)
		}
		defer p.close()
		for b, err := range p.bodies(p.frames, true) {
			if err != nil {
				t.Fatal(err)
			}
			if _, err := record.FormOf(b); err != nil {
				t.Fatalf("a body that is not whole: %v", err)
			}
		}
	})
}

// FuzzOpen damages a record at some places, in some way. It opens or says why
// not; nothing is read that was not written.
func FuzzOpen(f *testing.F) {
	want, crashed, _ := fixture(f)
	entries, err := os.ReadDir(crashed)
	if err != nil {
		f.Fatal(err)
	}
	var files []string
	for _, e := range entries {
		files = append(files, e.Name())
	}
	f.Add(uint8(0), []byte{0, 0, 0, 18, 1})
	f.Add(uint8(2), []byte{0, 1, 0, 0, 255, 0, 0, 2, 7, 3})
	f.Fuzz(func(t *testing.T, which uint8, places []byte) {
		dir := copyDir(t, crashed)
		path := filepath.Join(dir, files[int(which)%len(files)])
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		for ; len(places) >= 5 && info.Size() > 0; places = places[5:] {
			flip(t, path, int64(binary.BigEndian.Uint32(places))%info.Size(), places[4])
		}
		s, err := Open(context.Background(), dir, Options{Reserve: -1})
		if errors.Is(err, journal.ErrForeign) {
			return // it looks like somebody else's
		}
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		gone, told := missingOf(t, s, want)
		covers(t, gone, told)
		if _, err := s.Append(t.Context(), journaltest.Mark("on")); err != nil {
			t.Fatal(err)
		}
	})
}
