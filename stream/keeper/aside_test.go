package keeper_test

import (
	"context"
	"log/slog"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// An alert that was taken out of service weeks ago is still said to be, and why,
// after a start that does not read the record of weeks.
func TestWhatWasPutAsideLongAgoIsStillSaid(t *testing.T) {
	j := new(journaltest.Memory)
	plan, converters := wardPlan()
	k := subjects[0]
	engine := rules.NewEngine(plan, &life{})
	out := alert.Action{Verb: alert.TakeOut, At: sample.Instant(time.Hour), Who: "K-07", Why: "cable is loose"}
	if err := engine.Act(0, k, out); err != nil {
		t.Fatal(err)
	}
	weeks := 21 * 24 * time.Hour
	entries := []record.Entry{
		{Ord: 1, At: out.At, Place: k.Place, Author: out.Who, Body: record.Action{What: string(out.Verb), Subject: k.ID(), Reason: out.Why}},
		{At: out.At, Place: k.Place, Body: record.Transition{Event: alert.Event{Key: k, At: out.At, What: alert.WentOut, State: alert.OutOfService, Who: "K-07", Why: out.Why}}},
	}
	other := subjects[2]
	for i := range 3 {
		at := sample.Instant(weeks + time.Duration(i)*2*time.Hour)
		entries = append(entries, record.Entry{At: at, Place: other.Place, Body: record.Transition{Event: alert.Event{Key: other, At: at, What: alert.Cleared}}})
	}
	if _, err := j.Append(t.Context(), entries...); err != nil {
		t.Fatal(err)
	}
	r, err := keeper.Resume(context.Background(), j, plan, keeper.NewReviver(plan, converters), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(r.Past, func(e alert.Event) bool { return e.Key == k })
	if i < 0 || len(r.New) != 0 {
		t.Fatalf("it is not said: past %+v, new %+v", r.Past, r.New)
	}
	if e := r.Past[i]; e.State != alert.OutOfService || e.Who != "K-07" || e.Why != "cable is loose" || e.At != out.At {
		t.Errorf("it is said as %+v", e)
	}
}
