package keeper

import (
	"context"
	"fmt"
	"log/slog"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/record"
)

// Calibrate implements pipeline.Recorder. The calibration is kept with every input
// before it, so that it converts the same scans again.
func (k *Keeper) Calibrate(ord uint64, r *calibration.Record) error {
	_ = k.settle(ord) // where readings find no room it is kept all the same
	_, err := k.journal.Append(context.Background(), record.Entry{
		Ord: ord, At: sample.At(r.At), Written: k.now(), Author: r.By, Body: record.Calibration{Record: *r},
	})
	if err != nil {
		k.log.Error("a calibration was not kept", slog.Any("error", err))
		return fmt.Errorf("keeping a calibration of %s/%s/%d: %w", r.Bridge, r.Source, r.Channel, err)
	}
	return nil
}

// Zero implements pipeline.Recorder, as Calibrate does.
func (k *Keeper) Zero(ord uint64, z *calibration.Zeroing) error {
	_ = k.settle(ord)
	_, err := k.journal.Append(context.Background(), record.Entry{
		Ord: ord, At: sample.At(z.At), Written: k.now(), Author: z.By, Body: record.Zeroing{Zeroing: *z},
	})
	if err != nil {
		k.log.Error("a zeroing was not kept", slog.Any("error", err))
		return fmt.Errorf("keeping a zeroing of %s/%s: %w", z.Bridge, z.Source, err)
	}
	return nil
}
