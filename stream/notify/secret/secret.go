// Package secret reads what only this machine may know: from a file or from the
// environment, never from the configuration itself, which is kept and shown.
package secret

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
)

// A Source says where a secret is. Its zero value is that there is none.
type Source struct {
	File string // whose first line is the secret
	Env  string // name of a variable of the environment
}

// Given reports whether s names anything.
func (s Source) Given() bool { return s.File != "" || s.Env != "" }

// Read returns the secret. It is read each time, so that a changed file counts at
// once. Errors name the source and never what it holds.
func (s Source) Read() (string, error) {
	var text, where string
	switch {
	case s.File != "":
		b, err := first(s.File)
		if err != nil {
			if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
				err = pe.Err
			}
			return "", fmt.Errorf("secret in %s: %w", s.File, err)
		}
		line, _, _ := strings.Cut(string(b), "\n")
		text, where = strings.TrimSuffix(line, "\r"), s.File
	case s.Env != "":
		text, where = os.Getenv(s.Env), "variable "+s.Env
	default:
		return "", nil
	}
	if text == "" {
		return "", fmt.Errorf("secret in %s: it is empty", where)
	}
	return text, nil
}

// mostBytes is the longest file that is read: a secret is a line.
const mostBytes = 64 << 10

// first returns what is in a file, or the beginning of one that is too long for a
// secret, such as a device.
func first(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, mostBytes))
}
