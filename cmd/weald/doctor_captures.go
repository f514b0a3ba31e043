package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"weald/config"
	"weald/ingest/capture"
)

// captures reads all captures of all bridges.
func (d *doctor) captures(c *config.Config) {
	for i := range c.Bridges {
		b := &c.Bridges[i]
		if b.Capture == "" {
			continue
		}
		ext := filepath.Ext(b.Capture)
		files, err := filepath.Glob(strings.TrimSuffix(b.Capture, ext) + "*" + ext) // each start begins one
		if err != nil {
			d.wrong("captures of bridge %s: %v", b.ID, err)
		}
		slices.SortFunc(files, byChange)
		for n, file := range files {
			d.capture(b.ID, file, d.running && n == len(files)-1)
		}
	}
}

// byChange puts what was changed last at the end.
func byChange(a, b string) int {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	if errX != nil || errY != nil {
		return strings.Compare(a, b)
	}
	return x.ModTime().Compare(y.ModTime())
}

// capture reads a capture. One that is being written may end anywhere.
func (d *doctor) capture(bridge, path string, written bool) {
	f, err := os.Open(path)
	if err != nil {
		d.wrong("capture of bridge %s: %v", bridge, err)
		return
	}
	defer f.Close()
	records, found, err := readCapture(f)
	for _, text := range found {
		d.wrong("capture %s: %s", path, text)
	}
	switch {
	case errors.Is(err, capture.ErrTorn) && written:
		d.ok("capture %s: %d records, and one that is being written", path, records)
	case errors.Is(err, capture.ErrTorn):
		d.wrong("capture %s: %v; the %d records before can be played", path, err, records-len(found))
	case err != nil:
		d.wrong("capture %s: %v", path, err)
	case len(found) == 0:
		d.ok("capture %s: all of its %d records can be read", path, records)
	}
}

// readCapture counts the records of a capture, and says which are damaged.
func readCapture(f io.Reader) (records int, found []string, err error) {
	r, err := capture.NewReader(f)
	if err != nil {
		return 0, nil, err
	}
	for _, err := range r.Records() {
		var corrupt *capture.CorruptError
		switch {
		case errors.As(err, &corrupt):
			found = append(found, fmt.Sprint(err))
		case err != nil:
			return records, found, err
		}
		records++
	}
	return records, found, nil
}
