package main

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
	"weald/ingest/calib/sheet"
)

func splitChannel(s string) (bridge, source string, channel int, err error) {
	parts := strings.Split(s, "/")
	if len(parts) == 3 && parts[0] != "" && parts[1] != "" {
		if channel, err = strconv.Atoi(parts[2]); err == nil && channel >= 0 {
			return parts[0], parts[1], channel, nil
		}
	}
	return "", "", 0, fmt.Errorf("--channel is %q: want BRIDGE/SOURCE/NUMBER, such as trolley/leg/0", s)
}

// writePage writes the page of a calibration that was made now.
func (f *fitFlags) writePage(rows []figures.Row, r *fit.Result, now time.Time) error {
	bridge, source, channel, err := splitChannel(f.channel)
	if err != nil {
		return err
	}
	now = now.UTC().Truncate(time.Second)
	kept := r.Record(rows, now, f.by, bridge, source, channel, record.Instrument{Name: f.reference, U: f.options.ReferenceU}, f.options)
	kept.Method = f.method
	if !math.IsNaN(f.temperature) {
		kept.Temperature = &f.temperature
	}
	if err := kept.Check(); err != nil {
		return err
	}
	file, err := os.OpenFile(f.page, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	err = sheet.Write(file, kept, now)
	if e := file.Close(); err == nil {
		err = e
	}
	if err != nil {
		return fmt.Errorf("%s: %w", f.page, err)
	}
	return nil
}
