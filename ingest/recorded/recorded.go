// Package recorded, for tests only, finds and reads recordings of real sensors.
//
// They are not part of the project, but are in $WEALD_DATA or in shared/data beside the
// checkout. A test that finds none is skipped, which it says.
package recorded

import (
	"iter"
	"os"
	"path/filepath"
	"testing"
)

// folder of all recordings, or a name where there is none.
func folder() string {
	if root := os.Getenv("WEALD_DATA"); root != "" {
		return root
	}
	at, err := os.Getwd()
	for err == nil && at != filepath.Dir(at) {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return filepath.Join(filepath.Dir(at), "shared", "data")
		}
		at = filepath.Dir(at)
	}
	return "$WEALD_DATA"
}

// Path is where a file or a folder of recordings is.
func Path(t testing.TB, parts ...string) string {
	t.Helper()
	path := filepath.Join(append([]string{folder()}, parts...)...)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("recordings not found: %v", err)
	}
	return path
}

// Files are the recordings whose names match, which are some.
func Files(t testing.TB, pattern ...string) []string {
	t.Helper()
	glob := filepath.Join(append([]string{folder()}, pattern...)...)
	files, err := filepath.Glob(glob)
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Skipf("recordings not found: %s", glob)
	}
	return files
}

// Text is what is in a recording.
func Text(t testing.TB, parts ...string) []byte {
	t.Helper()
	b, err := os.ReadFile(Path(t, parts...))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Counts are the lines of a file of whole numbers between blanks, of which there are 27
// million in those of beds. What is yielded is valid until the next line.
func Counts(t testing.TB, file string) iter.Seq[[]float64] {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return func(yield func([]float64) bool) {
		var line []float64
		n, in := 0, false
		for _, c := range append(text, '\n') {
			if c >= '0' && c <= '9' {
				n, in = 10*n+int(c-'0'), true
				continue
			}
			if in {
				line, n, in = append(line, float64(n)), 0, false
			}
			if c == '\n' && len(line) > 0 {
				if !yield(line) {
					return
				}
				line = line[:0]
			}
		}
	}
}
