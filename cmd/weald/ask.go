package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	calibration "weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/person"
	"weald/stream/record"
)

// Only one process may have a record open, since that is what makes its promises
// cheap. A running daemon therefore does for other commands what needs the
// record: they ask it over a socket in the data folder, which only who may read
// the record can reach. One question a connection, a line of JSON each way; the
// answer is lines until one has Done, a fault or neither.
const (
	askName   = "ask"
	askWithin = 10 * time.Second // between connecting and asking
)

// A question is what a command wants of a running daemon. One field is set.
type question struct {
	Backup string `json:"backup,omitempty"` // into this folder, an absolute path
	Check  bool   `json:"check,omitempty"`
	Facts  bool   `json:"facts,omitempty"`
	Test   string `json:"test,omitempty"` // of this sender

	Account *accountAsk `json:"account,omitempty"` // to do with accounts
	Console bool        `json:"console,omitempty"` // a key for asking over HTTP

	// Retention is what to show of what these limits would delete.
	Retention journal.Limits `json:"retention,omitempty"`

	Calibrate *calibration.Record  `json:"calibrate,omitempty"` // to put into force
	Refuse    *calibration.Refused `json:"refuse,omitempty"`    // to keep as what did not come into force

	Deed *record.Deed `json:"deed,omitempty"` // to keep in the audit

	Erase string `json:"erase,omitempty"` // the code of whom to take out, which ends the daemon for a while
}

// An answer is one line of what comes back.
type answerLine struct {
	Copied  int64  `json:"copied,omitempty"`
	Known   int64  `json:"known,omitempty"`
	Finding string `json:"finding,omitempty"`
	Key     string `json:"key,omitempty"`

	Facts *recordFacts `json:"facts,omitempty"`

	// The last line has one of these.
	Done  bool   `json:"done,omitempty"`
	Error string `json:"error,omitempty"`
}

// answers serves the record, and the pipeline that writes it, to other commands
// until ctx ends.
func (d *daemon) answers(ctx context.Context, dir string) error {
	path := filepath.Join(dir, askName)
	_ = os.Remove(path) // whoever left it is gone: the record is ours
	l, err := net.Listen("unix", path)
	if err != nil {
		d.log.Warn("backups have to wait until the daemon is stopped", slog.Any("error", err),
			slog.String("do", "give data: a path short enough for a socket in it, and let this account write there"))
		<-ctx.Done()
		return context.Cause(ctx)
	}
	var all sync.WaitGroup
	defer all.Wait()
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	if err := os.Chmod(path, 0o600); err != nil {
		l.Close()
		return err
	}
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			return fmt.Errorf("answering commands: %w", err)
		}
		all.Go(func() { d.answer(ctx, conn) })
	}
}

func (d *daemon) answer(ctx context.Context, conn net.Conn) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer conn.Close()
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	var q question
	in := json.NewDecoder(conn)
	if conn.SetReadDeadline(time.Now().Add(askWithin)) != nil || in.Decode(&q) != nil || conn.SetReadDeadline(time.Time{}) != nil {
		return // gone, or no command of ours
	}
	go func() { // until the connection is closed, which one side always does
		var more json.RawMessage
		_ = in.Decode(&more) // nothing more is asked: it is the end
		cancel()
	}()
	out := json.NewEncoder(conn)
	// An error of writing means that whoever asked is gone, and cancels ctx.
	if err := d.work(ctx, &q, func(l answerLine) { _ = out.Encode(l) }); err != nil {
		_ = out.Encode(answerLine{Error: err.Error()})
		return
	}
	_ = out.Encode(answerLine{Done: true})
}

func (d *daemon) work(ctx context.Context, q *question, tell func(answerLine)) error {
	t := d.now()
	b := t.book
	switch {
	case q.Backup != "" && filepath.IsAbs(q.Backup):
		_, err := b.store.Backup(ctx, q.Backup, func(copied, known int64) { tell(answerLine{Copied: copied, Known: known}) })
		return err
	case q.Check:
		return checkRecord(ctx, b.store, func(text string) { tell(answerLine{Finding: text}) })
	case q.Facts:
		f, err := factsOf(ctx, b.store, idsOf(b.plan), time.Now())
		if err == nil {
			f.Complaints = t.complaints()
			tell(answerLine{Facts: f})
		}
		return err
	case q.Test != "":
		return t.senders.answerTest(ctx, q.Test)
	case q.Account != nil:
		return q.Account.do(ctx, d.access, b.now(), func(text string) { tell(answerLine{Finding: text}) })
	case q.Console:
		tell(answerLine{Key: d.access.Console(b.now())})
		return nil
	case len(q.Retention) > 0:
		return tellPlan(ctx, b.store, q.Retention, sample.At(time.Now()), func(text string) { tell(answerLine{Finding: text}) })
	case q.Calibrate != nil:
		return t.pipe.Calibrate(ctx, q.Calibrate)
	case q.Refuse != nil:
		return b.Refuse(ctx, q.Refuse, b.now())
	case q.Erase != "":
		stays, err := person.Stays(ctx, b.store, q.Erase)
		if err != nil {
			return err
		}
		named, err := person.Named(ctx, b.store, q.Erase)
		if err != nil {
			return err
		}
		var held bytes.Buffer
		tellHeld(&held, q.Erase, stays, named)
		if err := tellElsewhere(ctx, &held, t.config, b.store, q.Erase); err != nil {
			return err
		}
		for line := range strings.Lines(held.String()) {
			tell(answerLine{Finding: strings.TrimSuffix(line, "\n")})
		}
		return d.eraseFor(ctx, q.Erase, onConsole)
	case q.Deed != nil:
		deed := *q.Deed
		deed.Written = b.now()
		return audit.Note(ctx, b.log, deed)
	}
	return errors.New("the running daemon does not know what is asked; it may be of another version")
}

// checkRecord calls each with what is wrong with a record.
func checkRecord(ctx context.Context, store *sqlite.Store, each func(string)) error {
	store.KeepMended(ctx, store)
	for finding, err := range store.Check(ctx) {
		if err != nil {
			return err
		}
		each(finding.String())
	}
	chain, err := audit.Verify(ctx, store)
	for _, text := range chain.Findings {
		each("the audit's chain: " + text)
	}
	return errors.Join(err, context.Cause(ctx))
}

// notReached is the error of asking a daemon that cannot be connected to.
type notReached struct{ error }

func (e notReached) Unwrap() error { return e.error }

// askDaemon asks the daemon that uses the record in a folder, and calls each
// with all lines of its answer but the last.
func askDaemon(ctx context.Context, dir string, q question, each func(answerLine)) error {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "unix", filepath.Join(dir, askName))
	if err != nil {
		return notReached{fmt.Errorf("the record in %s is in use by another process that cannot be asked: %w; stop it first", dir, err)}
	}
	defer conn.Close()
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	if err := json.NewEncoder(conn).Encode(q); err != nil {
		return fmt.Errorf("asking the running daemon: %w", err)
	}
	lines := bufio.NewScanner(conn)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var l answerLine
		if err := json.Unmarshal(lines.Bytes(), &l); err != nil {
			return fmt.Errorf("asking the running daemon: %w", err)
		}
		switch {
		case l.Error != "":
			return fmt.Errorf("the running daemon says: %s", l.Error)
		case l.Done:
			return nil
		}
		each(l)
	}
	if err := context.Cause(ctx); err != nil {
		return err
	}
	return errors.Join(errors.New("the running daemon ended before it was done"), lines.Err())
}
