package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"weald/config"
	"weald/rules"
	"weald/stream/excerpt"
	"weald/stream/export"
	"weald/stream/order"
	"weald/webui/api"
)

// exportsName is the folder of exports that people asked a daemon for.
const exportsName = "exports"

// serve lets people have the record as files, which a desk makes, and see what is kept.
// A nil book does nothing.
func (b *book) serve(c *config.Config, desk *order.Desk, o *api.Options) {
	if b == nil {
		return
	}
	o.Exports = desk
	o.Reports = sourceOfReports(c, b.store, hostZone())
	o.Kept = func() api.Kept {
		room := b.store.Room()
		k := api.Kept{Free: room.Free, Full: room.Full, Deleted: b.store.Shortened(context.Background())}
		if since, until, bytes, ok := b.store.Extent(); ok {
			k.Since, k.Until, k.Bytes = since.Time(), until.Time(), bytes
		}
		return k
	}
}

// export makes the files that somebody asked for, by the configuration that was in force
// when that began.
func (b *book) export(c *config.Config) order.Maker {
	return func(ctx context.Context, a order.Ask, folder string, tell func(float64)) ([]order.File, []string, error) {
		place := slices.IndexFunc(c.Plan().Places, func(p rules.Place) bool { return p.ID == a.Place })
		write := waysOut[a.Format]
		if place < 0 || write == nil {
			return nil, nil, fmt.Errorf("place %q as %q: %w", a.Place, a.Format, errors.ErrUnsupported)
		}
		x, err := excerpt.New(ctx, b.store, c.Plan(), b.newReviver, ratesOf(c), place, a.From, a.To)
		if err != nil {
			return nil, nil, err
		}
		r, err := x.Recording()
		if err != nil {
			return nil, nil, err
		}
		headed(&r.Header, time.Local)
		made, err := write(ctx, r, folder, x.Base(), export.Options{Progress: func(p export.Progress) {
			tell((float64(p.Part-1) + p.Share) / float64(max(p.Parts, 1)))
		}})
		notes := x.Losses
		if x.Foreign > 0 {
			notes = append(notes, fmt.Sprintf("%d scans have another number of channels than the configuration says; they were left out", x.Foreign))
		}
		files := make([]order.File, len(made))
		for i, f := range made {
			files[i] = order.File{Name: filepath.Base(f.Path), Bytes: f.Bytes, Rows: f.Rows}
		}
		return files, notes, err
	}
}
