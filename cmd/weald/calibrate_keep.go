package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/record"
)

// sourceOf finds a source by its bridge and id.
func (b *book) sourceOf(bridge, source string) (index, channels int, ok bool) {
	i := slices.IndexFunc(b.plan.Sources, func(s rules.Source) bool { return s.ID == bridge+"/"+source })
	if i < 0 {
		return 0, 0, false
	}
	return i, b.plan.Sources[i].Channels, true
}

// Refuse implements calibrating.Book: it keeps a calibration that does not come into
// force, of a channel that there is.
func (b *book) Refuse(ctx context.Context, r *calibration.Refused, written sample.Instant) error {
	if _, channels, ok := b.sourceOf(r.Bridge, r.Source); !ok || r.Channel >= channels {
		return fmt.Errorf("calibration of %s/%s/%d: there is no such channel", r.Bridge, r.Source, r.Channel)
	}
	_, err := b.log.Append(ctx, record.Entry{At: sample.At(r.At), Written: written, Author: r.By, Body: record.Refused{Refused: *r}})
	return err
}

// calibrationParts is where the parts of the calibration that goes on are kept.
const calibrationParts = "calibration-run/"

// Write implements calibrating.Book.
func (b *book) Write(ctx context.Context, part string, body []byte) error {
	d := record.Document{Name: calibrationParts + part, Written: b.now(), Body: body}
	switch last, err := b.store.Document(ctx, d.Name, 0); {
	case err == nil:
		d.Version = last.Version
	case !errors.Is(err, journal.ErrNotFound):
		return err
	}
	_, err := b.log.PutDocument(ctx, d)
	return err
}

// Read implements calibrating.Book.
func (b *book) Read(ctx context.Context, part string) ([]byte, error) {
	d, err := b.store.Document(ctx, calibrationParts+part, 0)
	if errors.Is(err, journal.ErrNotFound) {
		return nil, nil
	}
	return d.Body, err
}
