package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

type auditFlags struct {
	config, data string
	within       bounds
	who, person  string
	alerts, json bool
	verify       bool
	heads        []string
}

func newAudit() *cobra.Command {
	var f auditFlags
	cmd := &cobra.Command{
		Use:   "audit -c FILE [--from T] [--to T] [--who CODE] [--person CODE] | --verify [--head N:HASH]",
		Short: "Who did, saw and took away what; and whether that was changed since",
		Long: `Lists who did, saw and took away what, and when, and last the end of the chain: its
number and hash. Note that down where nobody who can write the record can reach it, or
send it to somebody.

With --verify the whole record is read, and what does not fit is said: what was edited,
removed, put in, moved or swapped. The status is 1 if there is any. Whoever can write the
files can make the whole chain anew, or cut off its end; with --head, that shows too,
from the link on that was noted. --head may be given more than once.

What is about a person (--person) is what names the code, and what was done at a place
while that person was there.`,
		Example: `  weald audit -c weald.yaml --from 2026-03-01T00:00:00Z --person K-07
  weald audit -c weald.yaml --verify --head 1204:9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration")
	flags.StringVar(&f.data, "data", "", "the folder with the record, or a backup of it, if it is not the configuration's")
	f.within.flags(cmd, "all that there is")
	flags.StringVar(&f.who, "who", "", "only what this one did: a code, console, or an address")
	flags.StringVar(&f.person, "person", "", "only what is about this person, by code")
	flags.BoolVar(&f.alerts, "alerts", false, "also that changes of alerts were kept, which most links are about")
	flags.BoolVar(&f.json, "json", false, "one JSON object a line")
	flags.BoolVar(&f.verify, "verify", false, "read the whole record and say what was changed")
	flags.StringArrayVar(&f.heads, "head", nil, "an end of the chain that was noted before, as N:HASH")
	return cmd
}

func (f *auditFlags) run(cmd *cobra.Command) error {
	if !f.verify && len(f.heads) > 0 {
		return usageError{errors.New("--head goes with --verify")}
	}
	var heads []record.Link
	for _, text := range f.heads {
		l, err := record.ParseLink(text)
		if err != nil {
			return usageError{fmt.Errorf("--head: %w", err)}
		}
		heads = append(heads, l)
	}
	q := audit.Query{Who: f.who, Person: f.person, Alerts: f.alerts}
	var err error
	if q.From, q.To, err = f.within.read(); err != nil {
		return err
	}
	dir, err := folderOf(cmd, f.config, f.data)
	if err != nil {
		return err
	}
	store, err := readRecord(cmd.Context(), dir)
	if err != nil {
		return err
	}
	if f.verify {
		err = verifyAudit(cmd.Context(), cmd.OutOrStdout(), store, heads)
	} else {
		err = listAudit(cmd.Context(), cmd.OutOrStdout(), store, q, f.json)
	}
	return errors.Join(err, store.Close())
}

func verifyAudit(ctx context.Context, out io.Writer, store *sqlite.Store, heads []record.Link) error {
	r, err := audit.Verify(ctx, store, heads...)
	if err != nil {
		return err
	}
	for _, text := range r.Findings {
		fmt.Fprintln(out, text)
	}
	if r.Last == (record.Link{}) {
		fmt.Fprintln(out, "there is no chain in this record yet")
	} else {
		fmt.Fprintf(out, "links %d to %d, from entry %d on; %d entries are as they were kept", r.First.Number, r.Last.Number, r.From, r.Covered)
		if r.Deleted > 0 {
			fmt.Fprintf(out, ", %d were deleted as keep: asks", r.Deleted)
		}
		if r.Erased > 0 {
			fmt.Fprintf(out, ", %d were changed when a person's data were erased", r.Erased)
		}
		fmt.Fprintf(out, "\nhead %s\n", r.Last)
	}
	if len(r.Findings) > 0 {
		return errFound
	}
	return nil
}

// auditLine is a link as a line of JSON.
type auditLine struct {
	Number  uint64    `json:"number"`
	At      time.Time `json:"at"`
	Who     string    `json:"who"`
	What    string    `json:"what"`
	Place   string    `json:"place"`
	Subject string    `json:"subject"`
	Person  string    `json:"person"`
	Text    string    `json:"text"`
	Says    string    `json:"says"`
}

func listAudit(ctx context.Context, out io.Writer, store *sqlite.Store, q audit.Query, asJSON bool) error {
	lines := json.NewEncoder(out)
	lines.SetEscapeHTML(false)
	for e, err := range audit.Lines(ctx, store, q) {
		if err != nil {
			return err
		}
		a := e.Body.(record.Audit)
		if !asJSON {
			fmt.Fprintf(out, "%s  %s\n", e.At.Time().UTC().Format(time.RFC3339), audit.Sentence(&e))
			continue
		}
		err := lines.Encode(auditLine{a.Number, e.At.Time().UTC(), audit.Plain(a.Who), a.What, e.Place, a.Subject, audit.Plain(a.Person), audit.Plain(a.Text), audit.Sentence(&e)})
		if err != nil {
			return err
		}
	}
	head, ok, err := audit.Head(ctx, store)
	switch {
	case err != nil || !ok:
		return err
	case asJSON:
		return lines.Encode(struct {
			Head string `json:"head"`
		}{head.String()})
	}
	fmt.Fprintf(out, "head %s\n", head)
	return nil
}

// noteDeed keeps what somebody did by a command, in the record in a folder, through
// the daemon that uses it if there is one. That it cannot be kept is said, and the
// command goes on: a record that takes nothing more must still be had out of it.
func noteDeed(cmd *cobra.Command, dir string, d record.Deed) {
	if _, err := os.Stat(filepath.Join(dir, recordFile)); err != nil {
		return // there is none, which the command says itself
	}
	d.Who = onConsole
	err := keepDeed(cmd.Context(), dir, d)
	if err != nil {
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: the audit does not have this: %v\n", err)
	}
}

func keepDeed(ctx context.Context, dir string, d record.Deed) error {
	store, err := openRecord(ctx, dir)
	switch {
	case inUse(err):
		return askDaemon(ctx, dir, question{Deed: &d}, func(answerLine) {})
	case err != nil:
		return err
	}
	d.Written = sample.At(time.Now())
	if err = alone(ctx, store); err == nil {
		err = audit.Note(ctx, audit.Over(store), d)
	}
	return errors.Join(err, store.Close())
}

// errShared says that a command cannot write to a record of its own.
var errShared = errors.New("the record is kept on several machines, and only a daemon writes to it")

// alone returns errShared if a record follows a log: what one machine changed by itself
// would be in its own files alone.
func alone(ctx context.Context, store *sqlite.Store) error {
	f, err := store.Followed(ctx)
	if err == nil && f.Log != "" {
		err = errShared
	}
	return err
}
