package recorded_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"weald/ingest/recorded"
)

// Recordings are found where the environment says they are, by name and by pattern, and are
// read as they are written; a test without them is skipped.
func TestRecordingsAreFoundAndRead(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("WEALD_DATA", dir)
	if err := os.Mkdir(filepath.Join(dir, "beds"), 0o755); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "beds", "one.txt")
	if err := os.WriteFile(file, []byte("0\t12 4095\r\n\n7\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := recorded.Path(t, "beds", "one.txt"); got != file {
		t.Errorf("found at %s, want %s", got, file)
	}
	if got := recorded.Files(t, "beds", "*.txt"); !slices.Equal(got, []string{file}) {
		t.Errorf("found %q, want %s", got, file)
	}
	var lines [][]float64
	for line := range recorded.Counts(t, file) {
		lines = append(lines, slices.Clone(line))
	}
	if want := [][]float64{{0, 12, 4095}, {7}}; !slices.EqualFunc(lines, want, slices.Equal[[]float64]) {
		t.Errorf("read %v, want %v", lines, want)
	}
	for what, find := range map[string]func(t *testing.T){
		"a file": func(t *testing.T) { recorded.Text(t, "beds", "two.txt") },
		"some":   func(t *testing.T) { recorded.Files(t, "beds", "*.csv") },
	} {
		t.Run("without "+what, func(t *testing.T) {
			defer func() {
				if !t.Skipped() {
					t.Error("it is not skipped")
				}
			}()
			find(t)
		})
	}
}
