package main

import (
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/emulate"
	"weald/ingest/frame"
)

// recordingFlags say which file is played, how its columns are read, and how
// it is sent.
type recordingFlags struct {
	file   string
	config string
	bridge string
	mat    int
	send   string
	scale  float64
}

// stream opens the recording. The caller closes the file.
func (f *recordingFlags) stream(cmd *cobra.Command) (*emulate.Recording, emulate.Encoding, *os.File, error) {
	encoding, top, err := f.encoding()
	if err != nil {
		return nil, encoding, nil, err
	}
	columns, err := f.columns(cmd)
	if err != nil {
		return nil, encoding, nil, err
	}
	file, err := os.Open(f.file)
	if err != nil {
		return nil, encoding, nil, err
	}
	stream, err := emulate.NewRecording(file, columns, f.scale, top)
	if err != nil {
		file.Close()
		return nil, encoding, nil, err
	}
	return stream, encoding, file, nil
}

// encoding returns how scans are sent and the largest count that can be.
func (f *recordingFlags) encoding() (emulate.Encoding, float64, error) {
	const lineTop = 65534
	switch f.send {
	case "line":
		return emulate.Encoding{Line: true}, lineTop, nil
	case "packed":
		return emulate.Encoding{Coding: frame.U12, Split: 1024}, 4095, nil
	}
	return emulate.Encoding{}, 0, usageError{fmt.Errorf("--send is line or packed, not %q", f.send)}
}

// columns says how the rows are read: as the configuration describes a logger,
// or one scan of a mat a row, one row a second.
func (f *recordingFlags) columns(cmd *cobra.Command) (frame.Delimited, error) {
	switch {
	case f.mat > 0 && f.config == "":
		return emulate.MatRows1Hz(f.mat), nil
	case f.mat > 0 || f.config == "" || f.bridge == "":
		return frame.Delimited{}, usageError{errors.New("say how the recording is read: --mat CELLS, or -c FILE --bridge ID")}
	}
	c, err := load(cmd, f.config)
	if err != nil {
		return frame.Delimited{}, err
	}
	i := slices.IndexFunc(c.Bridges, func(b config.Bridge) bool { return b.ID == f.bridge })
	if i < 0 || c.Bridges[i].Delimited == nil {
		return frame.Delimited{}, usageError{fmt.Errorf("%s has no bridge %q with delimited columns", f.config, f.bridge)}
	}
	return *c.Bridges[i].Delimited, nil
}
