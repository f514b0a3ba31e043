package main

import (
	"fmt"
	"os"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/table"
)

// learn takes the creep from a pressure that was held, as what the table makes of
// its readings without any correction. A table that is refused has none to take:
// fitting it says so.
func (f *fitFlags) learn(rows []figures.Row) error {
	file, err := os.Open(f.held)
	if err != nil {
		return err
	}
	defer file.Close()
	held, err := table.ReadHeld(f.held, file)
	if err != nil {
		return err
	}
	r, err := fit.Fit(rows, f.options)
	if err != nil {
		return nil
	}
	ages, raw := make([]float64, len(held)), make([]float64, len(held))
	for i, h := range held {
		ages[i], raw[i] = h.Age, h.Raw
	}
	c, err := fit.CreepOf(r, ages, raw, time.Duration(f.dwell*float64(time.Second)))
	if err != nil {
		return fmt.Errorf("%s: %w", f.held, err)
	}
	f.options.Creep = &c
	return nil
}
