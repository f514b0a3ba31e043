// Package versions, for tests only, has what former versions of the program said to others.
//
// Machines are replaced one after the other, so that those of two versions speak with each
// other meanwhile. What a version says is kept in a file of testdata that bears its name, and
// every later version is held to understand it.
package versions

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A Version is one of them, and what it said.
type Version struct {
	Name string
	Said []byte
}

// Former are those that said what is in files of a pattern, in which a star stands for the
// name. With a name, what the present version says is put into such a file first.
func Former(t testing.TB, pattern, name string, now func() []byte) (all []Version) {
	t.Helper()
	if name != "" {
		if err := os.WriteFile(strings.Replace(pattern, "*", name, 1), now(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	paths, err := filepath.Glob(pattern)
	if err != nil || len(paths) == 0 {
		t.Fatalf("there are no %s: %v", pattern, err)
	}
	for _, path := range paths {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, Version{strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)), b})
	}
	return all
}
