package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	calibration "weald/ingest/calib/record"
	"weald/stream/journal"
	"weald/stream/record"
	"weald/stream/report/sheet"
)

func newReportCalibration() *cobra.Command {
	var f reportFlags
	var id, channel string
	cmd := &cobra.Command{
		Use:   "calibration -c FILE (--channel CHANNEL | --calibration ID) -o FILE",
		Short: "A calibration, to print and sign",
		Example: `  weald report calibration -c weald.yaml --channel trolley/leg/0 -o leg-0.html
  weald report calibration -c weald.yaml --calibration 0c1d5e7a9b3f42608d1e2c4a6b8f0d35 -o leg-0.html`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			switch {
			case f.out == "":
				return usageError{errNoOut}
			case (id == "") == (channel == ""):
				return usageError{errors.New("say which: --channel for the one in force, or --calibration")}
			case channel != "":
				if _, _, _, err := splitChannel(channel); err != nil {
					return usageError{err}
				}
			}
			return withRecord(cmd, f.config, f.data, func(_ *config.Config, store journal.Journal) error {
				r, err := findCalibration(cmd.Context(), store, func(r *calibration.Record) bool {
					return r.ID() == id || channel == fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel)
				})
				if err != nil {
					return err
				}
				return writeReport(cmd, f.out, func(w io.Writer) error { return sheet.Write(w, r, time.Now(), "weald "+build()) })
			})
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&channel, "channel", "", "the calibration that is in force for this channel, BRIDGE/SOURCE/NUMBER")
	cmd.Flags().StringVar(&id, "calibration", "", "the calibration with this id")
	return cmd
}

// findCalibration returns the newest calibration that is meant.
func findCalibration(ctx context.Context, log journal.Log, meant func(*calibration.Record) bool) (*calibration.Record, error) {
	q := journal.Query{Kinds: []record.Kind{record.KindCalibration}, Newest: true}
	for e, err := range journal.Readable(log.Entries(ctx, q), nil) {
		if err != nil {
			return nil, err
		}
		if r := e.Body.(record.Calibration).Record; meant(&r) {
			return &r, nil
		}
	}
	return nil, usageError{errors.New("the record has no such calibration")}
}
