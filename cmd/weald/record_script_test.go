package main

import (
	"archive/zip"
	"context"
	"database/sql"
	"errors"
	"math"
	"os"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// The commands that are about a record, on a small one.
func TestRecordScripts(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "one command after the other")
	testscript.Run(t, testscript.Params{
		Dir: "testdata/record", RequireExplicitExec: true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"record": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Check(smallRecord(ts.MkAbs(args[0])))
			},
			"unzip": func(ts *testscript.TestScript, _ bool, args []string) {
				z, err := zip.OpenReader(ts.MkAbs(args[0]))
				ts.Check(err)
				ts.Check(errors.Join(os.CopyFS(ts.MkAbs(args[1]), z), z.Close()))
			},
			"sql": func(ts *testscript.TestScript, _ bool, args []string) { // as any program can that writes SQLite
				db, err := sql.Open("sqlite", ts.MkAbs(args[0]))
				ts.Check(err)
				_, err = db.Exec(args[1])
				ts.Check(errors.Join(err, db.Close()))
			},
		},
	})
}

// smallRecord makes a record of a minute: a leg at two scans a second with a gap
// from 20 to 30 s, one scan of which came later than the others; a slow one; an
// alert, a mark and a session.
func smallRecord(dir string) error {
	ctx := context.Background()
	store, err := sqlite.Open(ctx, dir, sqlite.Options{Reserve: -1})
	if err != nil {
		return err
	}
	began := sample.At(time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC))
	at := func(s float64) sample.Instant { return began.Add(time.Duration(s * float64(time.Second))) }
	ord := uint64(0)
	keep := func(source string, when float64, stored bool, raw ...float64) error {
		ord++
		return store.AppendReadings(ctx, []record.Block{{Source: source, Config: 1, Scans: []record.Scan{
			{Ord: ord, At: at(when), Arrived: at(when), Stored: stored, Rail: math.NaN(), Raw: raw}}}}, nil)
	}
	for i := range 120 {
		s := float64(i) / 2
		if s >= 20 && s < 30 || s == 40 {
			continue
		}
		if err == nil {
			err = keep("logger/leg", s, false, 40+s, 20)
		}
		if err == nil && i%4 == 0 {
			err = keep("slow/leg", s, false, 15)
		}
	}
	if err == nil {
		err = keep("logger/leg", 40, true, 77, 20)
	}
	if err != nil {
		return err
	}
	raised := alert.Event{At: at(30), Key: alert.Key{Place: "bench-1", Rule: "tight", Subject: "ankle"}, What: alert.Raised,
		Priority: alert.Medium, Signal: "ankle.pressure", Unit: "mmHg", Value: 70, U: math.NaN(), Limit: 60, Held: 10 * time.Second, Text: "ankle above 60 mmHg for 10 s"}
	_, err = store.Append(ctx,
		record.Entry{At: at(0), Written: at(0), Place: "bench-1", Author: "T-1", Body: record.Session{ID: "s-one", What: "begun", Code: "K-07", Config: 1}},
		record.Entry{At: at(30), Written: at(30), Place: "bench-1", Body: record.Transition{Event: raised}},
		record.Entry{At: at(35), Written: at(36), Place: "bench-1", Author: "T-1", Body: record.Mark{What: "turned", Text: "to the left"}})
	if err != nil {
		return err
	}
	return store.Close()
}
