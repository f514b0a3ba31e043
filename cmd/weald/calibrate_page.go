package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
	"weald/stream/export"
	"weald/stream/report/sheet"
	"weald/webui/api"
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

func splitSource(s string) (bridge, source string, err error) {
	bridge, source, ok := strings.Cut(s, "/")
	if !ok || bridge == "" || source == "" || strings.Contains(source, "/") {
		return "", "", fmt.Errorf("--source is %q: want BRIDGE/SOURCE, such as trolley/leg", s)
	}
	return bridge, source, nil
}

// circumstances are those of a calibration that was made now.
func (f *fitFlags) circumstances(now time.Time) fit.Circumstances {
	c := fit.Circumstances{At: now, By: f.by, Reference: f.reference, Method: f.method}
	c.Bridge, c.Source, c.Channel, _ = splitChannel(f.channel) // check has looked at it
	if !math.IsNaN(f.temperature) {
		c.Temperature = &f.temperature
	}
	return c
}

// publish hands r to those that --page and --keep name. A daemon keeps a rejected one
// as such.
func (f *fitFlags) publish(cmd *cobra.Command, r *record.Record) error {
	if err := r.Check(); err != nil {
		return err
	}
	if f.page != "" {
		if _, err := export.Whole(cmd.Context(), f.page, func(w io.Writer) error { return sheet.Write(w, r, r.At, "weald "+build()) }); err != nil {
			return err
		}
	}
	switch {
	case f.keep == "":
		return nil
	case r.Verdict == record.Rejected:
		return f.tell(cmd, question{Refuse: record.Reject(r)})
	}
	return f.tell(cmd, question{Calibrate: r})
}

// tell has the daemon that --keep names keep what came of a table.
func (f *fitFlags) tell(cmd *cobra.Command, q question) error {
	if problem := api.CodeProblem(f.by); problem != "" {
		return fmt.Errorf("--by: %s", problem)
	}
	dir, err := folderOf(cmd, f.keep, "")
	if err != nil {
		return err
	}
	err = askDaemon(cmd.Context(), dir, q, func(answerLine) {})
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ECONNREFUSED) {
		return fmt.Errorf("%s: no daemon runs with it, and only a running one takes a calibration: start it first", f.keep)
	}
	return err
}
