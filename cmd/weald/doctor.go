package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
)

func newDoctor() *cobra.Command {
	var file string
	var retention, asJSON bool
	cmd := &cobra.Command{
		Use:   "doctor -c FILE",
		Short: "Look for what keeps a daemon from its job, and read its whole record",
		Long: `Looks at everything that a configuration rests on: that ports and files of bridges
are there and may be used, that the certificate of the pages is good, that the data folder can be written to, is closed to others,
is fast enough and has room for how many days, what the kernel thinks of the clock and
whether it agrees with the record, whether calibrations are past their date, that those
who are called can be reached (nothing is sent to them), and that all of the record, and
all captures, can still be read. If a daemon is using the record, the daemon reads it.
Run it as the account of the daemon, as what another may do says nothing.

One line for each thing: "ok", "look" for what is no fault yet, or "wrong", with what was
found, why it matters and what to do. The exit status is 1 if anything is wrong. With
--json each line is an object: state, about, found, why, do.

Nothing is changed, but that what a crash left half done in the record is
brought to an end, and a damaged file of it built anew, as the next start would. The
record keeps what was mended: every later look names it too.

With --retention it shows instead what the configuration's keep: would have the
daemon delete now, and deletes nothing.`,
		Example: "  weald doctor -c weald.yaml\n  weald doctor -c weald.yaml --json\n  weald doctor -c weald.yaml --retention",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if retention {
				c, err := load(cmd, file)
				if err != nil {
					return err
				}
				return preview(cmd, c)
			}
			if file == "" {
				return usageError{errors.New("say which configuration: -c weald.yaml")}
			}
			d := &doctor{out: cmd.OutOrStdout(), json: asJSON, now: time.Now()}
			d.everything(cmd.Context(), file)
			if err := context.Cause(cmd.Context()); err != nil {
				return err
			}
			if d.wrongs > 0 {
				return errFound
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", "", "the configuration")
	cmd.Flags().BoolVar(&retention, "retention", false, "show what would be deleted, and delete nothing")
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object per line")
	return cmd
}

// preview shows what the limits of a configuration would delete now.
func preview(cmd *cobra.Command, c *config.Config) error {
	dir, err := dataOf(c, "")
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	if len(c.Keep) == 0 {
		fmt.Fprintln(out, "everything is kept for ever: the configuration has no keep:")
		return nil
	}
	n := 0
	tell := func(text string) {
		n++
		fmt.Fprintln(out, text)
	}
	store, err := openRecord(cmd.Context(), dir)
	switch {
	case inUse(err):
		err = askDaemon(cmd.Context(), dir, question{Retention: c.Keep}, func(l answerLine) { tell(l.Finding) })
	case err == nil:
		err = errors.Join(tellPlan(cmd.Context(), store, c.Keep, sample.At(time.Now()), tell), store.Close())
	}
	if err == nil && n == 0 {
		fmt.Fprintln(out, "nothing would be deleted now")
	}
	return err
}

// A doctor says what it finds, a line for each thing.
type doctor struct {
	out     io.Writer
	json    bool
	now     time.Time
	wrongs  int
	running bool // a daemon uses the record

	complaints []string // of that daemon
}

// A finding is one line.
type finding struct {
	State string `json:"state"` // "ok", "look" or "wrong"
	About string `json:"about"`
	Found string `json:"found"`
	Why   string `json:"why,omitempty"` // it matters
	Do    string `json:"do,omitempty"`
}

// String returns the line for people.
func (f *finding) String() string {
	line := fmt.Sprintf("%-5s  %s: %s", f.State, f.About, f.Found)
	if f.Why != "" {
		line += "; " + f.Why
	}
	if f.Do != "" {
		line += ": " + f.Do
	}
	return line
}

func (d *doctor) say(f finding) {
	if f.State == "wrong" {
		d.wrongs++
	}
	if d.json {
		_ = json.NewEncoder(d.out).Encode(f) // to whoever has gone nothing needs to be said
		return
	}
	fmt.Fprintln(d.out, f.String())
}

func (d *doctor) ok(about, format string, args ...any) {
	d.say(finding{State: "ok", About: about, Found: fmt.Sprintf(format, args...)})
}

func (d *doctor) look(about, found, why, do string) { d.say(finding{"look", about, found, why, do}) }

func (d *doctor) wrong(about, found, why, do string) { d.say(finding{"wrong", about, found, why, do}) }

// everything looks at all that a configuration rests on.
func (d *doctor) everything(ctx context.Context, file string) {
	c, problems := config.Load(file)
	for _, p := range problems {
		d.wrong("configuration", p.String(), "a daemon does not start with it", "see weald check --schema for what there is")
	}
	if len(problems) > 0 {
		return
	}
	if err := undivided(c); err != nil {
		d.look("configuration", "it divides the places into shares", err.Error(), "look at each")
		return
	}
	d.ok("configuration", "%s is in order", file)
	d.account()
	d.links(c)
	d.certificate(c)
	if c.Data == "" {
		d.look("record", "none is kept", "nothing is known of what was more than an hour ago, and nobody can be called", "give data: in the configuration")
	} else if d.folder(c.Data) {
		d.speed(c.Data)
		d.record(ctx, c)
		d.room(c.Data)
	}
	d.clock()
	d.daemon(ctx, c)
	d.senders(ctx, c)
	d.captures(c)
}
