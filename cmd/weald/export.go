package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/audit"
	"weald/stream/excerpt"
	"weald/stream/export"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/record"
)

type exportFlags struct {
	config, data    string
	format          string
	place, from, to string
	zone            string
	out             string
	replace         bool
}

func newExport() *cobra.Command {
	f := exportFlags{out: ".", zone: "UTC"}
	cmd := &cobra.Command{
		Use:   "export -c FILE --place P --format csv|edf|parquet|fhir --out DIR",
		Short: "Write what the record has of a place into files that other programs read",
		Long: `Makes the signals of a place of the readings in the record, in the order of their
times, and writes them with alerts, marks and sessions:

  csv      a table for each rate (RFC 4180), one of what happened, one about both
  edf      one EDF+ file, gaps left out, what happened as annotations
  parquet  a table of readings, one of what happened
  fhir     one Bundle of HL7 FHIR R4, readings as Observations; no alerts, no marks

CSV, Parquet and FHIR say of each value how uncertain it is (standard uncertainty) and whether
its calibration held; EDF+ says of each signal between what bounds, and when it did not hold.
A person's code is in a file's header where one session covers all of the stretch.

Calibrations are those that were in force at the time, or else the configuration's
lines. Files appear when all of them are whole,
readable by their owner alone. If --out ends in the format's own ending (.json for
fhir) it names the file, else the folder. A daemon that uses the record meanwhile is not disturbed;
what it keeps after the beginning is not in the files.`,
		Example: `  weald export -c weald.yaml --place bench-1 --format csv --out k07
  weald export -c weald.yaml --place bed-4 --format edf --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z --out night.edf`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			err := exportRecord(cmd, f)
			if errors.Is(err, context.Canceled) {
				return errors.New("export: interrupted, and nothing was written")
			}
			return err
		},
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration")
	flags.StringVar(&f.data, "data", "", "the folder with the record, if it is not the configuration's")
	flags.StringVar(&f.format, "format", "", "csv, edf, parquet or fhir")
	flags.StringVar(&f.place, "place", "", "the place's id")
	flags.StringVar(&f.from, "from", "", "from this instant on, RFC 3339; the beginning without it")
	flags.StringVar(&f.to, "to", "", "before this instant, RFC 3339; without it to the newest reading and as long as that counts")
	flags.StringVar(&f.zone, "zone", f.zone, "the zone of the place, such as Europe/Vienna, in which times are written")
	flags.StringVar(&f.out, "out", f.out, "a folder, or a file")
	flags.BoolVar(&f.replace, "replace", false, "replace files that exist")
	return cmd
}

// A wayOut writes a recording in one format.
type wayOut func(ctx context.Context, r export.Recording, folder, base string, o export.Options) ([]export.File, error)

var waysOut = map[string]wayOut{
	"csv": func(ctx context.Context, r export.Recording, folder, base string, o export.Options) ([]export.File, error) {
		return export.CSV(ctx, r, folder, base, o)
	},
	"edf": func(ctx context.Context, r export.Recording, folder, base string, o export.Options) ([]export.File, error) {
		f, err := export.EDF(ctx, r, folder, base, export.EDFOptions{Options: o})
		return []export.File{f.File}, err
	},
	"parquet": func(ctx context.Context, r export.Recording, folder, base string, o export.Options) ([]export.File, error) {
		return export.Parquet(ctx, r, folder, base, o)
	},
	"fhir": func(ctx context.Context, r export.Recording, folder, base string, o export.Options) ([]export.File, error) {
		return export.FHIR(ctx, r, folder, base, o)
	},
}

// ending is that of a format's files.
func ending(format string) string {
	if format == "fhir" {
		return ".json"
	}
	return "." + format
}

// headed says what made a recording, where its times are, and the caution.
func headed(h *export.Header, zone *time.Location) {
	h.Program, h.Zone, h.Caution = "weald "+build(), zone, strings.Join(strings.Fields(caution), " ")
}

func exportRecord(cmd *cobra.Command, f exportFlags) error {
	write := waysOut[f.format]
	if write == nil {
		return usageError{fmt.Errorf("--format %q is none of csv, edf, parquet and fhir", f.format)}
	}
	from, err := instant("--from", f.from, sample.Past)
	if err != nil {
		return err
	}
	to, err := instant("--to", f.to, sample.Never)
	if err != nil {
		return err
	}
	if from >= to {
		return usageError{errors.New("--to must be after --from")}
	}
	zone, err := time.LoadLocation(f.zone)
	if err != nil || f.zone == "Local" {
		return usageError{fmt.Errorf("--zone %q is not a zone like Europe/Vienna", f.zone)}
	}
	c, err := load(cmd, f.config)
	if err != nil {
		return err
	}
	place := slices.IndexFunc(c.Plan().Places, func(p rules.Place) bool { return p.ID == f.place })
	if place < 0 {
		return usageError{fmt.Errorf("--place: the configuration has no place %q; there are %s", f.place, placesOf(c))}
	}
	dir, err := dataOf(c, f.data)
	if err != nil {
		return err
	}
	noteDeed(cmd, dir, record.Deed{What: audit.Exported, Place: f.place, Subject: f.format})
	store, err := readRecord(cmd.Context(), dir)
	if err != nil {
		return err
	}
	err = exportFrom(cmd, f, c, store, place, from, to, zone, write)
	return errors.Join(err, store.Close())
}

func exportFrom(cmd *cobra.Command, f exportFlags, c *config.Config, store journal.Journal, place int, from, to sample.Instant, zone *time.Location, write wayOut) error {
	converters, err := convertersOf(c)
	if err != nil {
		return err
	}
	x, err := excerpt.New(cmd.Context(), store, c.Plan(), func() *keeper.Reviver { return keeper.NewReviver(c.Plan(), converters) }, ratesOf(c), place, from, to)
	if err != nil {
		return err
	}
	r, err := x.Recording()
	if err != nil {
		return err
	}
	headed(&r.Header, zone)
	return writeExport(cmd, f, write, x, r)
}

func writeExport(cmd *cobra.Command, f exportFlags, write wayOut, x *excerpt.Excerpt, r export.Recording) error {
	folder, base := f.out, x.Base()
	if name, named := strings.CutSuffix(filepath.Base(f.out), ending(f.format)); named && name != "" {
		folder, base = filepath.Dir(f.out), name
	} else if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	p := newProgress(cmd.ErrOrStderr(), "export")
	defer p.end()
	files, err := write(cmd.Context(), r, folder, base, export.Options{Replace: f.replace, Progress: func(e export.Progress) {
		p.tell(0, (float64(e.Part-1)+e.Share)/float64(max(e.Parts, 1)))
	}})
	p.end()
	for _, loss := range x.Losses {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %s\n", loss)
	}
	if x.Foreign > 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %d scans have another number of channels than the configuration says; they were left out\n", x.Foreign)
	}
	if err != nil {
		return err
	}
	for _, file := range files {
		fmt.Fprintf(cmd.OutOrStdout(), "%s: %d rows, %d bytes\n", file.Path, file.Rows, file.Bytes)
	}
	return nil
}

func placesOf(c *config.Config) string {
	ids := make([]string, len(c.Places))
	for i := range c.Places {
		ids[i] = c.Places[i].ID
	}
	return strings.Join(ids, ", ")
}

// ratesOf returns the nominal rates of all sources, in the plan's order.
func ratesOf(c *config.Config) []float64 {
	rates := make([]float64, len(c.Plan().Sources))
	for i := range c.Bridges {
		for _, s := range c.Bridges[i].Sources {
			rates[s.Index] = s.Rate
		}
	}
	return rates
}
