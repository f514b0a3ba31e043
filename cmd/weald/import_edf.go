package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/stream/export"
	"weald/stream/export/edf"
)

// edfTakes is the only unit that is taken from EDF files: what is in another one
// is no pressure under a body, or was scaled by somebody who is not here to ask.
const edfTakes = "mmhg"

// importEDF makes a folder with a recording that can be rehearsed of an EDF or
// EDF+ file: rows of times and pressures, a file for each rate, and a
// configuration that reads them, in which each signal is a site. Values are
// written in full, so that nothing is rounded but by the file itself.
func importEDF(cmd *cobra.Command, path, out string) error {
	if out == "" {
		return usageError{errors.New("say where to: --out FOLDER, which is made")}
	}
	if _, err := os.Lstat(out); err == nil {
		return fmt.Errorf("%s is there already, and nothing is ever overwritten", out)
	}
	r, departures, err := export.ReadEDF(path, edf.Lenient, nil)
	if err != nil {
		return err
	}
	for _, d := range departures {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %s: %s\n", path, d)
	}
	taken, left := pressures(&r)
	for _, s := range left {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %s: signal %q is in %q and not in mmHg; it was left out\n", path, s.Name, s.Unit)
	}
	if len(taken) == 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %s: there is no signal in mmHg in it, and nothing was written\n", path)
		return errFound
	}
	partial, err := os.MkdirTemp(filepath.Dir(out), "."+filepath.Base(out)+".*.partial")
	if err != nil {
		return err
	}
	defer os.RemoveAll(partial) // after the renaming there is nothing
	show := newProgress(cmd.ErrOrStderr(), path)
	defer show.end()
	rows := make([]int, len(taken))
	for i, t := range taken {
		rows[i], err = writeRows(cmd.Context(), filepath.Join(partial, rowsName(i)), t, &r.Header, show)
		if errors.Is(err, context.Canceled) {
			return fmt.Errorf("%s: interrupted, and nothing was written", path)
		}
		if err != nil {
			return err
		}
	}
	if err := os.WriteFile(filepath.Join(partial, "weald.yaml"), []byte(edfConfig(path, taken)), 0o600); err != nil {
		return err
	}
	if err := os.Rename(partial, out); err != nil {
		return err
	}
	show.end()
	for i, t := range taken {
		fmt.Fprintf(cmd.OutOrStdout(), "%s: %d rows of %d signals\n", filepath.Join(out, rowsName(i)), rows[i], len(t.columns))
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: add rules to it, and rehearse it\n", filepath.Join(out, "weald.yaml"))
	return nil
}

func rowsName(i int) string { return fmt.Sprintf("rows-%d.csv", i+1) }

// A pressureTrack is a track with what is taken of it.
type pressureTrack struct {
	*export.Track
	columns []int
	sites   []string // identifiers, unique in the file
}

// pressures picks what is in mmHg.
func pressures(r *export.Recording) (taken []pressureTrack, left []export.Signal) {
	used := map[string]bool{}
	for i := range r.Tracks {
		t := pressureTrack{Track: &r.Tracks[i]}
		for k, s := range t.Signals {
			if strings.ToLower(s.Unit) != edfTakes {
				left = append(left, s)
				continue
			}
			t.columns = append(t.columns, k)
			t.sites = append(t.sites, siteName(s.Name, used))
		}
		if len(t.columns) > 0 && t.Rate > 0 {
			taken = append(taken, t)
		}
	}
	return taken, left
}

// siteName makes an identifier of a signal's name: of "ankle.pressure" "ankle".
func siteName(name string, used map[string]bool) string {
	id := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '_'
	}, strings.ToLower(strings.TrimSuffix(name, ".pressure")))
	if id = strings.Trim(id, "_"); id == "" || id[0] >= '0' && id[0] <= '9' {
		id = strings.TrimSuffix("s_"+id, "_")
	}
	for n, base := 2, id; used[id]; n++ {
		id = fmt.Sprintf("%s_%d", base, n)
	}
	used[id] = true
	return id
}

// writeRows writes one track. A row in which nothing is known is left out: it is
// a gap.
func writeRows(ctx context.Context, path string, t pressureTrack, h *export.Header, show *progress) (rows int, err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, f.Sync(), f.Close()) }()
	line := []byte("time")
	for _, s := range t.sites {
		line = append(append(line, ','), s...)
	}
	var buffer []byte
	buffer = append(append(buffer, line...), " (mmHg)\n"...)
	for row, err := range t.Rows {
		if err == nil {
			err = context.Cause(ctx)
		}
		if err != nil {
			return rows, err
		}
		known := false
		line = row.At.Time().AppendFormat(line[:0], time.RFC3339Nano)
		for _, c := range t.columns {
			line = append(line, ',')
			if v := row.Values[c]; v == v {
				line, known = strconv.AppendFloat(line, v, 'f', -1, 64), true
			}
		}
		if known {
			rows++
			buffer = append(append(buffer, line...), '\n')
		}
		if len(buffer) > 1<<16 {
			if _, err := f.Write(buffer); err != nil {
				return rows, err
			}
			buffer = buffer[:0]
			show.tell(0, float64(row.At-h.Start)/float64(h.End-h.Start))
		}
	}
	_, err = f.Write(buffer)
	return rows, err
}

// edfConfig reads the rows that were written.
func edfConfig(path string, taken []pressureTrack) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# What was imported from %s. Each signal is a site; add rules, and\n#   weald rehearse -c weald.yaml\nbridges:\n", strconv.Quote(filepath.Base(path)))
	for i, t := range taken {
		fmt.Fprintf(&b, `  - id: rows-%d
    link: {file: {path: %s}}
    format: delimited
    delimited: {separator: ",", header_lines: 1, time: {column: 0, as: rfc3339}, channels: [%s], empty: [""]}
    sources: [{number: 0, id: edf, channels: %d, rate: %s, unit: mmHg}]
`, i+1, rowsName(i), columnsUpTo(len(t.columns)), len(t.columns), strconv.FormatFloat(t.Rate, 'f', -1, 64))
	}
	b.WriteString("places:\n  - id: recording\n    kind: wrap\n    sites:\n")
	for i, t := range taken {
		for k, s := range t.sites {
			fmt.Fprintf(&b, "      - {id: %s, channels: [rows-%d/edf/%d]}\n", s, i+1, k)
		}
	}
	b.WriteString("rules: []\n")
	return b.String()
}

// columnsUpTo returns "1, 2, …, n".
func columnsUpTo(n int) string {
	all := make([]string, n)
	for i := range all {
		all[i] = strconv.Itoa(i + 1)
	}
	return strings.Join(all, ", ")
}
