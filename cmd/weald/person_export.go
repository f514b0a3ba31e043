package main

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/rules"
	"weald/stream/audit"
	"weald/stream/excerpt"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/person"
	"weald/stream/record"
	"weald/stream/report"
	"weald/stream/report/paper"
)

func newPersonExport() *cobra.Command {
	var file, data, out string
	cmd := &cobra.Command{
		Use:   "export -c FILE CODE -o FILE.zip",
		Short: "Write everything that the record has of a person into one file",
		Long: `Writes one zip file: sessions and tries, what happened during them, all else that names
the code, and who has seen it, as tables (CSV) and whole (JSON); what the sensors read during
each session and try, as tables; and a report of each, to read. contents.txt in it says what
is where, and what could not be had. A daemon that uses the record is not disturbed.

The file has another person's code where that person did something for this one.`,
		Example: "  weald person export -c weald.yaml K-07 -o k07.zip",
		Args:    arguments(aCode),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return usageError{errors.New("say which file to write: -o k07.zip")}
			}
			c, dir, err := loadData(cmd, file, data)
			if err != nil {
				return err
			}
			if err := hasPerson(cmd, dir, args[0]); err != nil {
				return err
			}
			noteDeed(cmd, dir, record.Deed{What: audit.Exported, Person: args[0], Subject: "everything"})
			store, err := readRecord(cmd.Context(), dir)
			if err != nil {
				return err
			}
			return errors.Join(exportPerson(cmd, c, store, args[0], out), store.Close())
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", "", "the configuration")
	cmd.Flags().StringVar(&data, "data", "", "the folder with the record, if it is not the configuration's")
	cmd.Flags().StringVarP(&out, "out", "o", "", "the file to write")
	return cmd
}

// hasPerson returns errFound, and says so, if the record has nothing of a person.
func hasPerson(cmd *cobra.Command, dir, code string) error {
	store, err := readRecord(cmd.Context(), dir)
	if err != nil {
		return err
	}
	named, err := person.Named(cmd.Context(), store, code)
	if err = errors.Join(err, store.Close()); err != nil {
		return err
	}
	if len(named) == 0 {
		fmt.Fprintf(cmd.OutOrStdout(), "the record has nothing of %s\n", code)
		return errFound
	}
	return nil
}

// A bundle is the zip file in the making.
type bundle struct {
	ctx    context.Context
	config *config.Config
	store  journal.Journal
	zip    *zip.Writer
	room   string // a folder for what cannot be written into a stream
	lines  []string
}

func exportPerson(cmd *cobra.Command, c *config.Config, store journal.Journal, code, out string) error {
	ctx := cmd.Context()
	stays, err := person.Stays(ctx, store, code)
	if err != nil {
		return err
	}
	room, err := os.MkdirTemp(filepath.Dir(out), ".weald-person-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(room)
	return writeReport(cmd, out, func(w io.Writer) error {
		b := &bundle{ctx: ctx, config: c, store: store, zip: zip.NewWriter(w), room: room}
		if err := b.write(code, stays); err != nil {
			return err
		}
		return b.zip.Close()
	})
}

func (b *bundle) write(code string, stays []person.Stay) error {
	for _, t := range person.Tables(b.ctx, b.store, code, stays) {
		if err := b.add(t.Name, t.About, t.Write); err != nil {
			return err
		}
	}
	for i := range stays {
		if err := errors.Join(b.report(&stays[i]), b.readings(&stays[i])); err != nil {
			return err
		}
	}
	return b.add("contents.txt", "", func(w io.Writer) error {
		fmt.Fprintf(w, "What a record of weald %s has of %s. Times are in UTC, pressures in mmHg; an empty cell is not known.\n\n", build(), code)
		for _, line := range b.lines {
			fmt.Fprintln(w, line)
		}
		return nil
	})
}

func (b *bundle) add(name, about string, write func(io.Writer) error) error {
	w, err := b.zip.Create(name)
	if err != nil {
		return err
	}
	if about != "" {
		b.lines = append(b.lines, name+": "+about)
	}
	return write(w)
}

// report adds the report of a stay, and says so where none can be made.
func (b *bundle) report(s *person.Stay) error {
	source := sourceOfReports(b.config, b.store, hostZone())
	ask := source.Session
	if s.Try {
		ask = source.Attempt
	}
	d, err := ask(b.ctx, s.ID)
	return b.orSay(s, "no report", err, func() error { return b.page(s, d) })
}

func (b *bundle) page(s *person.Stay, d *paper.Document) error {
	return b.add(s.ID+"/report.html", "a report of "+s.String(), d.Write)
}

// readings adds what the sensors read during a stay, by the configuration of then.
func (b *bundle) readings(s *person.Stay) error {
	setup, err := setupAt(b.ctx, b.config, b.store, s.From)
	if err != nil {
		return err
	}
	place := slices.IndexFunc(setup.Plan.Places, func(p rules.Place) bool { return p.ID == s.Place })
	if place < 0 {
		b.lines = append(b.lines, fmt.Sprintf("no readings of %v: the configuration has no such place", s))
		return nil
	}
	// With what was read at the very end, which an erasure would take too.
	to, err := excerpt.Through(b.ctx, b.store, setup.Plan, place, s.To)
	if err != nil {
		return err
	}
	x, err := excerpt.New(b.ctx, b.store, setup.Plan, setup.Reviver, setup.Rates, place, s.From, to)
	return b.orSay(s, "no readings", err, func() error {
		r, err := x.Recording()
		if err != nil {
			return err
		}
		r.Header.Program = "weald " + build()
		files, err := export.CSV(b.ctx, r, b.room, s.ID, export.Options{Replace: true})
		if err != nil {
			return err
		}
		for _, f := range files {
			if err := b.add(s.ID+"/"+filepath.Base(f.Path), fmt.Sprintf("%d rows of %v", f.Rows, s), func(w io.Writer) error { return pour(w, f.Path) }); err != nil {
				return err
			}
		}
		for _, loss := range x.Losses {
			b.lines = append(b.lines, fmt.Sprintf("%v: %s", s, loss))
		}
		return nil
	})
}

// pour copies a file and deletes it.
func pour(w io.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	_, err = io.Copy(w, f)
	return errors.Join(err, f.Close(), os.Remove(path))
}

// orSay does it, or says in the list that there is none, where that is why.
func (b *bundle) orSay(s *person.Stay, none string, err error, do func() error) error {
	switch {
	case errors.Is(err, journal.ErrNotFound), errors.Is(err, report.ErrNone), errors.Is(err, report.ErrAsked):
		b.lines = append(b.lines, fmt.Sprintf("%s of %v: %v", none, s, err))
		return nil
	case err != nil:
		return err
	}
	return do()
}
