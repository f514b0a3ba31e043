package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/ingest/tcp/wire/wiretest"
	"weald/stream/journal"
)

// A frame that a gateway waits to hear of is acknowledged when it is on the disk,
// or when the disk is full; while the disk says anything else it is handed over
// again, and if that is for good, the end of the daemon comes before a receipt.
func TestReceipts(t *testing.T) {
	odd := errors.New("no answer")
	for name, c := range map[string]struct {
		says  []error // the last one for good
		tries int
		ends  bool // only when everything does
	}{
		"kept":       {[]error{nil}, 1, false},
		"full":       {[]error{fmt.Errorf("keeping readings: %w", journal.ErrFull)}, 1, false},
		"late":       {[]error{odd, odd, nil}, 3, false},
		"then full":  {[]error{odd, journal.ErrFull}, 2, false},
		"broken":     {[]error{journal.ErrBroken}, 11, true},
		"not opened": {[]error{journal.ErrClosed}, 11, true},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), 10*flushAgain+time.Millisecond)
				defer cancel()
				tries := 0
				receipt(ctx, func(context.Context) error {
					tries++
					return c.says[min(tries, len(c.says))-1]
				})
				if ended := ctx.Err() != nil; tries != c.tries || ended != c.ends {
					t.Errorf("%d tries, and everything had ended: %t; want %d, %t", tries, ended, c.tries, c.ends)
				}
			})
		})
	}
}

const unlinked = `
data: %q
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: hub, link: {file: {path: nothing.csv}}, format: line, sources: [{number: 0, id: leg, channels: 1, rate: 1, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}]}
rules: []
`

// A daemon that cannot begin lets go of its record: another may have it at once.
func TestADaemonThatCannotBeginClosesItsRecord(t *testing.T) {
	data := filepath.Join(t.TempDir(), "record")
	c := parsedAs(t, "weald.yaml", fmt.Sprintf(unlinked, data))
	d, err := newDaemonAfter(t.Context(), c, 1, sample.Past, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	c.Bridges[0].Link.File = nil
	l := wiretest.Listen(t)
	if err := d.run(t.Context(), l); err == nil || !strings.Contains(err.Error(), "has no link") {
		t.Errorf("it began: %v", err)
	}
	store, err := openRecord(t.Context(), data)
	if err != nil {
		t.Fatalf("its record is not free: %v", err)
	}
	store.Close()
}
