package keeper

import (
	"fmt"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/record"
)

// Calibrate implements pipeline.Recorder. The calibration is kept with every input
// before it, so that it converts the same scans again.
func (k *Keeper) Calibrate(ord uint64, r *calibration.Record) error {
	_, err := k.decided(fmt.Sprintf("a calibration of %s/%s/%d", r.Bridge, r.Source, r.Channel),
		record.Entry{Ord: ord, At: sample.At(r.At), Author: r.By, Body: record.Calibration{Record: *r}})
	return err
}

// Zero implements pipeline.Recorder, as Calibrate does.
func (k *Keeper) Zero(ord uint64, z *calibration.Zeroing) error {
	_, err := k.decided(fmt.Sprintf("a zeroing of %s/%s", z.Bridge, z.Source),
		record.Entry{Ord: ord, At: sample.At(z.At), Author: z.By, Body: record.Zeroing{Zeroing: *z}})
	return err
}
