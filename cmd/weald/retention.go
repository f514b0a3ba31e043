package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/keeper"
	"weald/stream/record"
)

// How often what is too old or too much is deleted, and how long after a start
// for the first time: by then it has a snapshot of its own.
const (
	retireEvery = 24 * time.Hour
	retireFirst = 2 * time.Minute
)

// planOf returns what has to go for a record to be within limits.
func planOf(ctx context.Context, s *sqlite.Store, limits journal.Limits, now sample.Instant) (journal.Plan, error) {
	spared, err := keeper.Spare(ctx, s, limits)
	if err != nil {
		return journal.Plan{}, err
	}
	return s.PlanRetention(ctx, spared, now)
}

// retire deletes what the limits ask for, soon after the start and then once a
// day, until ctx ends. It deletes nothing but what planOf shows, some rows or one
// file at a time, so that nothing has to wait for it.
func (b *book) retire(ctx context.Context, limits journal.Limits, now func() sample.Instant, log *slog.Logger) error {
	next := time.NewTimer(retireFirst)
	defer next.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-next.C:
		}
		if err := retireOnce(ctx, b.store, b.log, limits, now(), log); err != nil && ctx.Err() == nil {
			log.Warn("what is too old was not deleted", slog.Any("error", err), slog.String("do", "it is tried again in a day; weald doctor reads the record"))
		}
		next.Reset(retireEvery)
	}
}

// retireOnce deletes once, from the files of this machine. What it is about to delete is
// in the record before it goes, as an entry that says so; into is the way there.
func retireOnce(ctx context.Context, s *sqlite.Store, into journal.Log, limits journal.Limits, now sample.Instant, log *slog.Logger) error {
	if len(limits) == 0 {
		return nil
	}
	plan, err := planOf(ctx, s, limits, now)
	if err != nil {
		return err
	}
	if plan.Doubt != "" {
		log.Warn("nothing is deleted for its age", slog.String("why", plan.Doubt), slog.String("do", "see that the clock is right"))
	}
	for _, d := range plan.Deletions {
		text := "deleted as keep: asks: " + deletionText(d)
		if _, err := into.Append(ctx, record.Entry{At: now, Written: now, Body: record.Fault{Subject: "retention", Over: true, Text: text}}); err != nil {
			return err
		}
		if kind := d.Class.Kind(); kind != "" {
			if err := audit.Retire(ctx, into, now, kind, record.Position(d.UpTo)); err != nil {
				return err
			}
		}
		if err := s.Retire(ctx, journal.Plan{Now: plan.Now, Deletions: []journal.Deletion{d}}); err != nil {
			return err
		}
		log.Info(text)
	}
	return nil
}

// deletionText says what goes, such as "readings from 2026-03-01 to 2026-03-01,
// 86400 blocks, 120.4 MB (readings-2026-03-01.db)".
func deletionText(d journal.Deletion) string {
	day := func(at sample.Instant) string { return at.Time().Format(time.DateOnly) }
	unit := "entries"
	switch d.Class {
	case journal.Readings:
		unit = "blocks"
	case journal.Seconds, journal.Minutes, journal.Quarters:
		unit = "pieces"
	case journal.Former:
		unit = "versions"
	}
	text := fmt.Sprintf("%s from %s to %s, %d %s, %.1f MB", d.Class, day(d.From), day(d.To), d.Count, unit, float64(d.Bytes)/1e6)
	if d.File != "" {
		text += " (" + d.File + ")"
	}
	return text
}

// tellPlan calls each with a line for everything that a plan deletes.
func tellPlan(ctx context.Context, s *sqlite.Store, limits journal.Limits, now sample.Instant, each func(string)) error {
	plan, err := planOf(ctx, s, limits, now)
	if err != nil {
		return err
	}
	if plan.Doubt != "" {
		each("nothing would go for its age: " + plan.Doubt)
	}
	for _, d := range plan.Deletions {
		each("would be deleted: " + deletionText(d))
	}
	return nil
}
