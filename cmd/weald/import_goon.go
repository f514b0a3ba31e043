package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/journal"
	"weald/stream/sessions"
)

// An import can be interrupted, and is gone on with by giving the same command again: what
// the record has of a folder is left out, and a session that has no end gets the rest of
// its recording.

// end is when a sitting's session ends: the last value lasts as long as one does.
func (s *sitting) end() sample.Instant {
	return s.to.Add(time.Duration(float64(time.Second) / s.bridge.Sources[0].Rate))
}

// is reports whether a session is the one that s makes, be it whole or not.
func (s *sitting) is(one *sessions.Session) bool {
	return one.Code == s.code && one.From == s.from && (one.Lasts() || one.To == s.end())
}

// A stored says how much of a source's part of a recording the record has.
type stored struct {
	scans int
	last  sample.Instant
}

// missing returns the sittings of which the record has not all, and the newest end of the
// sessions that it has. Those that are begun know how far they are.
func missing(ctx context.Context, log journal.Journal, plan *rules.Plan, before []sessions.Session, all []*sitting) (rest []*sitting, newest sample.Instant, err error) {
	newest = sample.Past
	begun := map[string]bool{}
	for _, s := range all {
		i := slices.IndexFunc(before, func(one sessions.Session) bool { return s.is(&one) })
		if i < 0 {
			rest = append(rest, s)
			continue
		}
		if !before[i].Lasts() {
			s.there = true
			continue
		}
		begun[before[i].ID] = true
		s.begun = &before[i]
		if s.stored, err = storedOf(ctx, log, plan, s); err != nil {
			return nil, 0, err
		}
		rest = append(rest, s)
	}
	for i := range before {
		one := &before[i]
		if begun[one.ID] {
			continue
		}
		newest = max(newest, one.To)
		for _, s := range rest {
			if s.from < one.To && s.to >= one.From {
				return nil, 0, fmt.Errorf("%s is of the time of session %s of %s, which the record has: nothing was written", s.name, one.ID, one.Code)
			}
		}
	}
	return rest, newest, nil
}

// storedOf counts what the record has of a session that was begun and not ended.
func storedOf(ctx context.Context, log journal.Journal, plan *rules.Plan, s *sitting) (map[int]stored, error) {
	out := map[int]stored{}
	for i := range plan.Sources {
		for b, err := range log.Readings(ctx, plan.Sources[i].ID, s.from, s.end()) {
			if err != nil {
				return nil, err
			}
			for k := range b.Scans {
				if at := b.Scans[k].At; at >= s.from && at < s.end() {
					out[i] = stored{out[i].scans + 1, at}
				}
			}
		}
	}
	return out, nil
}

// passes leaves out what the record has of a recording, in whose order it was kept. It
// returns an error where the recording is not the one that was begun with.
func (s *sitting) passes(scan *sample.Scan) (bool, error) {
	have, ok := s.stored[scan.Source]
	if !ok {
		return true, nil
	}
	if have.scans--; have.scans > 0 {
		s.stored[scan.Source] = have
		return false, nil
	}
	delete(s.stored, scan.Source)
	if at := scan.At.Add(s.shift); at != have.last {
		return false, fmt.Errorf("it is not the recording that was begun with: a row is of %v where the record has %v; give it as it was, or take it into an empty data folder", at, have.last)
	}
	return false, nil
}
