package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"

	"weald/config"
	"weald/ingest/sample"
)

func newDoctor() *cobra.Command {
	var file string
	var retention bool
	cmd := &cobra.Command{
		Use:   "doctor -c FILE",
		Short: "Look for what keeps a daemon from its job, and read its whole record",
		Long: `Looks at everything that a configuration rests on: that ports and files of bridges
are there, that the certificate of the pages is good, that the data folder can be written to, is closed to others and has
room, and that all of the record, and all captures, can still be read. If a daemon is using the
record, the daemon reads it.

One line for each thing, "ok" or "wrong" first. The exit status is 1 if anything is
wrong. Nothing is changed, but that what a crash left half done in the record is
brought to an end, and a damaged file of it built anew, as the next start would. The
record keeps what was mended: every later look names it too.

With --retention it shows instead what the configuration's keep: would have the
daemon delete now, and deletes nothing.`,
		Example: "  weald doctor -c weald.yaml\n  weald doctor -c weald.yaml --retention",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := load(cmd, file)
			if err != nil {
				return err
			}
			if retention {
				return preview(cmd, c)
			}
			d := &doctor{out: cmd.OutOrStdout()}
			d.links(c)
			d.certificate(c)
			if c.Data == "" {
				d.ok("no record is kept: the configuration's data: names no folder")
			} else if d.folder(c.Data) {
				d.record(cmd.Context(), c.Data)
			}
			d.captures(c)
			if err := context.Cause(cmd.Context()); err != nil {
				return err
			}
			if d.wrongs > 0 {
				return errFound
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", "", "the configuration")
	cmd.Flags().BoolVar(&retention, "retention", false, "show what would be deleted, and delete nothing")
	return cmd
}

// preview shows what the limits of a configuration would delete now.
func preview(cmd *cobra.Command, c *config.Config) error {
	dir, err := dataOf(c, "")
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	if len(c.Keep) == 0 {
		fmt.Fprintln(out, "everything is kept for ever: the configuration has no keep:")
		return nil
	}
	n := 0
	tell := func(text string) {
		n++
		fmt.Fprintln(out, text)
	}
	store, err := openRecord(cmd.Context(), dir)
	switch {
	case inUse(err):
		err = askDaemon(cmd.Context(), dir, question{Retention: c.Keep}, func(l answerLine) { tell(l.Finding) })
	case err == nil:
		err = errors.Join(tellPlan(cmd.Context(), store, c.Keep, sample.At(time.Now()), tell), store.Close())
	}
	if err == nil && n == 0 {
		fmt.Fprintln(out, "nothing would be deleted now")
	}
	return err
}

// A doctor writes what it finds.
type doctor struct {
	out     io.Writer
	wrongs  int
	running bool // a daemon uses the record
}

func (d *doctor) ok(format string, args ...any) { fmt.Fprintf(d.out, "ok     "+format+"\n", args...) }

func (d *doctor) wrong(format string, args ...any) {
	d.wrongs++
	fmt.Fprintf(d.out, "wrong  "+format+"\n", args...)
}

// links looks whether what bridges are read from is there. What answers over a
// network is the running daemon's to say.
func (d *doctor) links(c *config.Config) {
	for i := range c.Bridges {
		b := &c.Bridges[i]
		switch l := b.Link; {
		case l.Serial != nil && l.Serial.Port != "":
			d.link(b.ID, "port", l.Serial.Port, unix.R_OK|unix.W_OK)
		case l.File != nil:
			d.link(b.ID, "file", l.File.Path, unix.R_OK)
		}
	}
}

func (d *doctor) link(bridge, what, path string, access uint32) {
	_, err := os.Stat(path)
	if err == nil {
		err = unix.Access(path, access)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		d.wrong("bridge %s: there is no %s %s", bridge, what, path)
	case errors.Is(err, fs.ErrPermission):
		d.wrong("bridge %s: %s %s is there, but this account may not use it", bridge, what, path)
	case err != nil:
		d.wrong("bridge %s: %s %s: %v", bridge, what, path, err)
	default:
		d.ok("bridge %s: %s %s is there", bridge, what, path)
	}
}

// leastRoom is a day of a ward, and the reserve.
const leastRoom = 2 << 30

// folder looks at the data folder. It reports whether there is one.
func (d *doctor) folder(dir string) bool {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		d.wrong("data folder %s: it is not there; a daemon makes it when it starts", dir)
		return false
	case err != nil:
		d.wrong("data folder: %v", err)
		return false
	case !info.IsDir():
		d.wrong("data folder %s: it is a file", dir)
		return false
	}
	if others := info.Mode().Perm() & 0o077; others != 0 {
		d.wrong("data folder %s: others may use it (mode %04o); chmod 0700 keeps them out", dir, info.Mode().Perm())
	} else {
		d.ok("data folder %s: closed to others", dir)
	}
	if err := unix.Access(dir, unix.R_OK|unix.W_OK|unix.X_OK); err != nil {
		d.wrong("data folder %s: this account may not write to it", dir)
	}
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		d.wrong("data folder %s: %v", dir, err)
		return true
	}
	if left := int64(st.Bavail) * st.Bsize; left < leastRoom {
		d.wrong("data folder %s: only %.1f GB are left; %.0f GB would be right", dir, float64(left)/1e9, float64(leastRoom)/1e9)
	} else {
		d.ok("data folder %s: %.1f GB are left", dir, float64(left)/1e9)
	}
	return true
}

// record reads all of the record.
func (d *doctor) record(ctx context.Context, dir string) {
	before := d.wrongs
	tell := func(text string) { d.wrong("record: %s", text) }
	store, err := openRecord(ctx, dir)
	switch {
	case inUse(err):
		d.running = true
		err = askDaemon(ctx, dir, question{Check: true}, func(l answerLine) { tell(l.Finding) })
	case err == nil:
		err = errors.Join(checkRecord(ctx, store, tell), store.Close())
	}
	switch {
	case ctx.Err() != nil:
	case err != nil:
		d.wrong("record: %v", err)
	case d.wrongs == before:
		d.ok("record in %s: all of it can be read", dir)
	}
}
