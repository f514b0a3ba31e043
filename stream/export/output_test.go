package export

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// formats are all exports, by what comes out.
var formats = map[string]func(ctx context.Context, r Recording, folder string, o Options) error{
	"csv": func(ctx context.Context, r Recording, folder string, o Options) error {
		_, err := CSV(ctx, r, folder, "k07", o)
		return err
	},
	"edf": func(ctx context.Context, r Recording, folder string, o Options) error {
		_, err := EDF(ctx, r, folder, "k07", EDFOptions{Options: o})
		return err
	},
	"fhir": func(ctx context.Context, r Recording, folder string, o Options) error {
		_, err := FHIR(ctx, r, folder, "k07", o)
		return err
	},
	"parquet": func(ctx context.Context, r Recording, folder string, o Options) error {
		_, err := Parquet(ctx, r, folder, "k07", o)
		return err
	},
}

func left(t *testing.T, folder string) []string {
	t.Helper()
	files, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, f.Name())
	}
	return names
}

func TestAFailedExportLeavesNothing(t *testing.T) {
	wrong := errors.New("block 7 is damaged")
	for format, export := range formats {
		folder := t.TempDir()
		if err := export(t.Context(), failing(wrong), folder, Options{}); !errors.Is(err, wrong) {
			t.Errorf("%s: %v", format, err)
		}
		if format == "fhir" { // has none
			continue
		}
		r := bench()
		r.Annotations = func(yield func(Annotation, error) bool) { yield(Annotation{}, wrong) }
		if err := export(t.Context(), r, folder, Options{}); !errors.Is(err, wrong) {
			t.Errorf("%s: %v", format, err)
		}
		if names := left(t, folder); len(names) > 0 {
			t.Errorf("%s: left %q", format, names)
		}
	}
}

// Cancelled at whatever call of Progress: nothing is left, and the cause is told.
func TestACancelledExportLeavesNothing(t *testing.T) {
	stop := errors.New("stopped by hand")
	r := longRecording(t, 0.05, 8, 50)
	for format, export := range formats {
		calls := 0
		if err := export(t.Context(), r, t.TempDir(), Options{Progress: func(Progress) { calls++ }}); err != nil {
			t.Fatal(err)
		}
		if calls < 10 {
			t.Errorf("%s tells of its progress %d times", format, calls)
		}
		for at := 0; at < calls; at += 1 + calls/7 {
			ctx, cancel := context.WithCancelCause(t.Context())
			folder := t.TempDir()
			n := 0
			err := export(ctx, r, folder, Options{Progress: func(p Progress) {
				if n++; n > at {
					if names := left(t, folder); len(names) == 0 && n > at+1 {
						t.Errorf("%s: nothing is being written at call %d", format, n)
					}
					cancel(stop)
				}
			}})
			cancel(nil)
			if names := left(t, folder); !errors.Is(err, stop) || len(names) > 0 {
				t.Errorf("%s, cancelled at %d of %d: %v, left %q", format, at, calls, err, names)
			}
		}
	}
}

func TestProgress(t *testing.T) {
	r := longRecording(t, 0.05, 8, 50)
	for format, export := range formats {
		var last Progress
		err := export(t.Context(), r, t.TempDir(), Options{Progress: func(p Progress) {
			switch {
			case p.Part != last.Part && (p.Part != last.Part+1 || p.Share != 0 || last.Part > 0 && last.Share != 1),
				p.Part == last.Part && p.Share <= last.Share,
				p.Part > p.Parts, p.Doing == "", p.Share > 1:
				t.Errorf("%s: %+v after %+v", format, p, last)
			}
			last = p
		}})
		if err != nil || last.Part != last.Parts || last.Share != 1 {
			t.Errorf("%s: ended at %+v, %v", format, last, err)
		}
	}
}

func TestExistingFilesStay(t *testing.T) {
	for format, export := range formats {
		folder := t.TempDir()
		for _, name := range []string{"k07-1-per-s.csv", "k07-about.csv", "k07.edf", "k07.json", "k07-events.parquet"} {
			if err := os.WriteFile(filepath.Join(folder, name), []byte("mine"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		before := left(t, folder)
		if err := export(t.Context(), bench(), folder, Options{}); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: %v", format, err)
		}
		if after := left(t, folder); len(after) != len(before) {
			t.Errorf("%s: left %q", format, after)
		}
		for _, name := range before {
			if b, err := os.ReadFile(filepath.Join(folder, name)); err != nil || string(b) != "mine" {
				t.Errorf("%s: %s is %q, %v", format, name, b, err)
			}
		}
		if err := export(t.Context(), bench(), folder, Options{Replace: true}); err != nil {
			t.Errorf("%s, replacing: %v", format, err)
		}
	}
}

// The last of several files cannot get its name: none has one.
func TestFilesAppearTogetherOrNotAtAll(t *testing.T) {
	folder := t.TempDir()
	if err := os.MkdirAll(filepath.Join(folder, "k07-about.csv", "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := CSV(t.Context(), bench(), folder, "k07", Options{Replace: true}); err == nil {
		t.Fatal("a folder was replaced by a file")
	}
	if names := left(t, folder); len(names) != 1 {
		t.Errorf("left %q", names)
	}
}

func TestNamesThatLeaveTheFolder(t *testing.T) {
	for _, base := range []string{"../k07", "a/b", ".hidden"} {
		if _, err := CSV(t.Context(), bench(), t.TempDir(), base, Options{}); !errors.Is(err, fs.ErrInvalid) {
			t.Errorf("%q: %v", base, err)
		}
	}
}

// A recording of which nothing is known has no place in a format of samples.
func TestNothingKnown(t *testing.T) {
	r := bench()
	r.Tracks = []Track{{Signals: []Signal{{Name: "x"}}, Rate: 1, Rows: rowsOf(time.Second, []float64{unknown}, []float64{unknown})}}
	folder := t.TempDir()
	for _, format := range []string{"edf", "fhir"} {
		if err := formats[format](t.Context(), r, folder, Options{}); !errors.Is(err, ErrEmpty) {
			t.Errorf("%s: %v", format, err)
		}
	}
	if names := left(t, folder); len(names) > 0 {
		t.Errorf("left %q", names)
	}
	for _, format := range []string{"csv", "parquet"} {
		if err := formats[format](t.Context(), r, folder, Options{}); err != nil {
			t.Errorf("%s: %v", format, err)
		}
	}
}
