package main

import (
	"context"
	"fmt"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/keeper"
	"weald/stream/live"
	"weald/stream/record"
	"weald/stream/report"
)

// sourceOfReports is what reports are made of: a record, and the configurations that are
// in it. c is the one of now.
func sourceOfReports(c *config.Config, store journal.Journal, zone *time.Location) *report.Source {
	return &report.Source{Journal: store, Zone: zone, Program: "weald " + build(), Setup: func(ctx context.Context, at sample.Instant) (*report.Setup, error) {
		return setupAt(ctx, c, store, at)
	}}
}

// setupAt returns the configuration that was in force at an instant, or, where the
// record has none of then or it cannot be used, the one of now, which is said.
func setupAt(ctx context.Context, c *config.Config, log journal.Log, at sample.Instant) (*report.Setup, error) {
	s := &report.Setup{}
	var kept record.Config
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindConfig}, Until: at + 1, Newest: true}), nil) {
		if err != nil {
			return nil, err
		}
		kept = e.Body.(record.Config)
		break
	}
	switch {
	case kept.Version == 0:
		s.Notes = append(s.Notes, "The record has no configuration from before this time: what follows is by the configuration of when this report was made.")
	case kept.Text == c.Text:
		s.Version, s.Hash = kept.Version, kept.Hash
	default:
		former, problems := config.Parse(c.Named(fmt.Sprintf("configuration %d", kept.Version)), []byte(kept.Text))
		if len(problems) > 0 {
			s.Notes = append(s.Notes, fmt.Sprintf("Configuration %d, which was in force then, cannot be used by this program (%s): what follows is by the configuration of when this report was made.", kept.Version, problems[0].Message))
			break
		}
		c, s.Version, s.Hash = former, kept.Version, kept.Hash
	}
	converters, err := convertersOf(c)
	if err != nil {
		return nil, err
	}
	s.Plan, s.Settings, s.Rates = c.Plan(), settings(c), ratesOf(c)
	s.Reviver = func() *keeper.Reviver { return keeper.NewReviver(c.Plan(), converters) }
	return s, nil
}

// hostZone is the zone in which people read times on this machine, under its name
// where the machine tells that.
func hostZone() *time.Location {
	if name := live.HostZone(); name != "" {
		if zone, err := time.LoadLocation(name); err == nil {
			return zone
		}
	}
	return time.Local
}
