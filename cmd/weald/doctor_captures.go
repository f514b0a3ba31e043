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
			d.wrong("captures of bridge "+b.ID, err.Error(), "", "")
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
		d.wrong("capture of bridge "+bridge, err.Error(), "it cannot be played again", "see who owns it: the account of the daemon has to")
		return
	}
	defer f.Close()
	records, found, err := readCapture(f)
	for _, text := range found {
		d.wrong("capture "+path, text, "what is behind it can be played, it cannot", "copy the file and look at the disk")
	}
	switch {
	case errors.Is(err, capture.ErrTorn) && written:
		d.ok("capture "+path, "%d records, and one that is being written", records)
	case errors.Is(err, capture.ErrTorn):
		d.wrong("capture "+path, err.Error(), fmt.Sprintf("the %d records before can be played", records-len(found)), "")
	case err != nil:
		d.wrong("capture "+path, err.Error(), "", "")
	case len(found) == 0:
		d.ok("capture "+path, "all of its %d records can be read", records)
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
