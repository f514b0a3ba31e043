package afar

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"weald/stream/record"
)

// late is which alerts became known late, over restarts where a file keeps it: the record
// is the ward's, and knows nothing of that.
type late struct {
	file   string // "" for none
	failed func(error)
	noted
}

// noted is what the file has.
type noted struct {
	Log     string                        `json:"log"`     // whose positions these are
	Through record.Position               `json:"through"` // of no entry up to here it is still to be told whether it was late
	Late    map[record.Position]time.Time `json:"late"`    // when those became known that were
}

// KeepLate lets a file keep which alerts became known late, of a record that goes through
// a log, and begins with what it has. It is called before Follow. Failed is told why that
// cannot be kept or was not; the ward is shown all the same.
func (w *Ward) KeepLate(file, log string, failed func(error)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.late = late{file: file, failed: failed}
	b, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(b, &w.late.noted)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		failed(fmt.Errorf("%s: %w", file, err))
	}
	if err != nil || w.late.Log != log {
		w.late.noted = noted{Log: log}
	}
}

// of returns when an alert became known that an entry raises, nil where that was not late.
// The caller holds the Ward's mu.
func (l *late) of(e *record.Entry, now bool, at time.Time) *time.Time {
	if known, ok := l.Late[e.Position]; ok {
		return &known
	}
	if l.Through > 0 { // what came while nobody looked becomes known now
		now = e.Position > l.Through
	}
	if !now || at.Sub(e.Written.Time()) <= lateAfter {
		return nil
	}
	return &at
}

// keep writes down which alerts became known late, of all entries up to one.
func (w *Ward) keep(through record.Position) {
	w.mu.Lock()
	l := &w.late
	l.Through, l.Late = max(l.Through, through), map[record.Position]time.Time{}
	for _, a := range w.alerts {
		if a.ReachedAt != nil {
			l.Late[a.raised] = *a.ReachedAt
		}
	}
	file, failed, n := l.file, l.failed, l.noted
	w.mu.Unlock()
	if file == "" {
		return
	}
	if err := replace(file, n); err != nil { // it is tried again when the next one is raised
		failed(fmt.Errorf("%s: %w", file, err))
	}
}

// replace puts a whole new file in the place of an old one.
func replace(path string, v any) (err error) {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".known-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = f.Close() // twice, perhaps
			_ = os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(b); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
