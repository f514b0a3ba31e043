package order

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// Run makes orders until ctx ends, and takes away what it made.
func (d *Desk) Run(ctx context.Context) error {
	if err := os.RemoveAll(d.folder); err != nil {
		return fmt.Errorf("what was made to order in the last run: %w", err)
	}
	defer os.RemoveAll(d.folder)
	for {
		for o := d.next(); o != nil; o = d.next() {
			d.work(ctx, o.ID, o.Ask)
			if ctx.Err() != nil {
				break
			}
		}
		select {
		case <-d.wake:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// next marks the oldest order that waits as being made.
func (d *Desk) next() *Order {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, o := range d.all {
		if o.State == Waiting {
			o.State = Making
			return o
		}
	}
	return nil
}

func (d *Desk) work(ctx context.Context, id string, a Ask) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	d.change(id, func(o *Order) {
		d.stops[id] = stop
		if o.State == Stopped { // between being taken and now
			stop(errStopped)
		}
	})
	folder := d.path(id)
	var files []File
	var notes []string
	err := os.MkdirAll(folder, 0o700)
	if err == nil {
		files, notes, err = d.make(ctx, a, folder, func(share float64) {
			d.change(id, func(o *Order) { o.Share = max(o.Share, min(share, 1)) })
		})
	}
	d.change(id, func(o *Order) {
		delete(d.stops, id)
		o.Notes = notes
		switch {
		case o.State == Stopped:
		case err != nil:
			o.State, o.Why = Failed, plain(err)
		default:
			o.State, o.Share, o.Files = Made, 1, files
			return
		}
		_ = os.RemoveAll(folder) // what stays goes with the next start
	})
}

func plain(err error) string {
	if errors.Is(err, context.Canceled) {
		return "the daemon was stopped"
	}
	return err.Error()
}

// change does something with an order, if it is still there.
func (d *Desk) change(id string, f func(*Order)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if o := d.find(id); o != nil {
		f(o)
	}
}
