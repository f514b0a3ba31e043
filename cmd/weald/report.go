package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/report"
	"weald/stream/report/paper"
)

type reportFlags struct {
	config, data string
	zone         string
	out          string
}

func newReport() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "report",
		Short: "Write what the record says into a page to read and to print",
		Long: `Writes one HTML file with its drawings in it, which needs nothing else and prints on
A4. It is the page that a running daemon shows, made without one. A daemon that uses the
record meanwhile is not disturbed; what it keeps after the beginning is not on the page.

A file that is there already is not replaced.

` + caution,
		Example: `  weald report session -c weald.yaml --session s-k3x9p2 -o k07.html
  weald report trial -c weald.yaml -o trial.html`,
	}
	cmd.AddCommand(newReportSession(), newReportAttempt(), newReportNight(), newReportTrial(), newReportCalibration())
	return cmd
}

// reportCommand makes a command of what asks a source for a report.
func reportCommand(cmd *cobra.Command, ask func(context.Context, *report.Source) (*paper.Document, error)) *cobra.Command {
	var f reportFlags
	f.add(cmd)
	cmd.Flags().StringVar(&f.zone, "zone", "", "the zone in which times are written, such as Europe/Vienna; that of this machine without it")
	cmd.Args = arguments(cobra.NoArgs)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		err := f.write(cmd, ask)
		if errors.Is(err, report.ErrAsked) || errors.Is(err, report.ErrNone) {
			return usageError{err}
		}
		return err
	}
	return cmd
}

var errNoOut = errors.New("say which file to write: -o report.html")

// add adds the flags of every report.
func (f *reportFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration")
	flags.StringVar(&f.data, "data", "", "the folder with the record, if it is not the configuration's")
	flags.StringVarP(&f.out, "out", "o", "", "the file to write")
}

func (f *reportFlags) write(cmd *cobra.Command, ask func(context.Context, *report.Source) (*paper.Document, error)) error {
	if f.out == "" {
		return usageError{errNoOut}
	}
	zone := hostZone()
	if f.zone != "" {
		var err error
		if zone, err = time.LoadLocation(f.zone); err != nil || f.zone == "Local" {
			return usageError{fmt.Errorf("--zone %q is not a zone like Europe/Vienna", f.zone)}
		}
	}
	return withRecord(cmd, f.config, f.data, func(c *config.Config, store journal.Journal) error {
		d, err := ask(cmd.Context(), sourceOfReports(c, store, zone))
		if err != nil {
			return err
		}
		return writeReport(cmd, f.out, d.Write)
	})
}

// deedOfReport is what the audit has of a report: what it is of.
func deedOfReport(cmd *cobra.Command) record.Deed {
	d := record.Deed{What: audit.Reported, Subject: cmd.Name()}
	given := func(name string) string {
		value, _ := cmd.Flags().GetString(name) // "" where the command has no such flag
		return value
	}
	for _, name := range []string{"session", "attempt", "calibration", "channel"} {
		if value := given(name); value != "" {
			d.Subject += " " + value
		}
	}
	d.Place, d.Person = given("place"), given("person")
	return d
}

// withRecord opens the record of a configuration to be read, for a report.
func withRecord(cmd *cobra.Command, path, data string, use func(*config.Config, journal.Journal) error) error {
	c, dir, err := loadData(cmd, path, data)
	if err != nil {
		return err
	}
	noteDeed(cmd, dir, deedOfReport(cmd))
	store, err := readRecord(cmd.Context(), dir)
	if err != nil {
		return err
	}
	return errors.Join(use(c, store), store.Close())
}

// writeReport writes a file that appears when it is whole.
func writeReport(cmd *cobra.Command, path string, write func(io.Writer) error) error {
	file, err := export.Whole(cmd.Context(), path, write)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %d bytes\n", file.Path, file.Bytes)
	return nil
}

func newReportSession() *cobra.Command {
	var id string
	cmd := reportCommand(&cobra.Command{
		Use:     "session -c FILE --session ID -o FILE",
		Short:   "What happened in one session",
		Example: "  weald report session -c weald.yaml --session s-k3x9p2 -o k07.html",
	}, func(ctx context.Context, s *report.Source) (*paper.Document, error) { return s.Session(ctx, id) })
	cmd.Flags().StringVar(&id, "session", "", "the session's id, as the page Records shows it")
	return cmd
}

func newReportAttempt() *cobra.Command {
	var id string
	cmd := reportCommand(&cobra.Command{
		Use:     "attempt -c FILE --attempt ID -o FILE",
		Short:   "What came of one try at putting on a wrap",
		Example: "  weald report attempt -c weald.yaml --attempt a-k3x9p2 -o k07-3.html",
	}, func(ctx context.Context, s *report.Source) (*paper.Document, error) { return s.Attempt(ctx, id) })
	cmd.Flags().StringVar(&id, "attempt", "", "the try's id")
	return cmd
}

// bounds are those of time that a command takes.
type bounds struct{ from, to string }

func (b *bounds) flags(cmd *cobra.Command, otherwise string) {
	cmd.Flags().StringVar(&b.from, "from", "", "from this instant on, RFC 3339; "+otherwise+" without it")
	cmd.Flags().StringVar(&b.to, "to", "", "before this instant, RFC 3339; "+otherwise+" without it")
}

func (b *bounds) read() (from, to sample.Instant, err error) {
	if from, err = instant("--from", b.from, sample.Past); err == nil {
		to, err = instant("--to", b.to, sample.Never)
	}
	return from, to, err
}

func newReportNight() *cobra.Command {
	var place string
	var within bounds
	cmd := reportCommand(&cobra.Command{
		Use:   "night -c FILE --place P [--from T --to T] -o FILE",
		Short: "How somebody lay through a night in a bed",
		Example: `  weald report night -c weald.yaml --place bed-4 -o night.html
  weald report night -c weald.yaml --place bed-4 --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z -o night.html`,
	}, func(ctx context.Context, s *report.Source) (*paper.Document, error) {
		from, to, err := within.read()
		if err == nil && (from == sample.Past) != (to == sample.Never) {
			err = usageError{errors.New("give both --from and --to, or neither")}
		}
		if err != nil {
			return nil, err
		}
		return s.Night(ctx, place, from, to)
	})
	cmd.Flags().StringVar(&place, "place", "", "the bed's id")
	within.flags(cmd, "the last night, 20:00 to 8:00,")
	return cmd
}

func newReportTrial() *cobra.Command {
	var t report.Trial
	var within bounds
	cmd := reportCommand(&cobra.Command{
		Use:     "trial -c FILE [--person CODE] [--place P] [--from T] [--to T] -o FILE",
		Short:   "How long participants sat and how they took the load off, by code and day",
		Example: "  weald report trial -c weald.yaml --from 2026-03-01T00:00:00Z -o trial.html",
	}, func(ctx context.Context, s *report.Source) (_ *paper.Document, err error) {
		if t.From, t.To, err = within.read(); err != nil {
			return nil, err
		}
		return s.Trial(ctx, t, func(float64) {})
	})
	cmd.Flags().StringVar(&t.Person, "person", "", "only this participant, by code")
	cmd.Flags().StringVar(&t.Place, "place", "", "only this place")
	within.flags(cmd, "all that there is")
	return cmd
}
