package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/audit"
	"weald/stream/journal"
	"weald/stream/journal/sqlite"
	"weald/stream/keeper"
	"weald/stream/person"
	"weald/stream/record"
	"weald/webui/api"
)

func newPerson() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "person",
		Short: "Everything that the record has of one person: give it away, or take it out",
		Example: `  weald person export -c weald.yaml K-07 -o k07.zip
  weald person erase -c weald.yaml K-07`,
	}
	cmd.AddCommand(newPersonExport(), newPersonErase())
	return cmd
}

// aCode takes one argument, a person's code.
func aCode(cmd *cobra.Command, args []string) error {
	if err := cobra.ExactArgs(1)(cmd, args); err != nil {
		return err
	}
	if problem := api.CodeProblem(args[0]); problem != "" {
		return errors.New(problem)
	}
	return nil
}

func newPersonErase() *cobra.Command {
	var file, data string
	var yes bool
	cmd := &cobra.Command{
		Use:   "erase -c FILE CODE [--yes]",
		Short: "Take a person out of the record for good",
		Long: `Says what the record has of a person and what would become of it. With --yes that is
done, and cannot be undone:

  - what the sensors read at the person's places during the sessions and tries becomes
    unknown, and the curves of that time go, with up to a quarter of an hour around it;
  - what was written there and then, in notes, marks and reasons, goes;
  - the code becomes another one, made at random, wherever it stands. Alerts and what was
    done about them stay under that, and so do all counts;
  - the audit's chain holds, and has a link that says that this was done, and not to whom;
  - the files are made anew, so that nothing is left in them between what they hold.

Other persons' data stay as they are. A daemon that uses the record ends for it, and goes on
by itself from where it stood; what its bridges do not keep themselves is lost meanwhile, and
counts as unknown. Backups, files that were exported, reports, captures and what was sent
elsewhere are not reached; those that the audit knows of are listed. Nor can anybody be taken
out of a record that several machines keep.`,
		Example: "  weald person erase -c weald.yaml K-07\n  weald person erase -c weald.yaml K-07 --yes",
		Args:    arguments(aCode),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, dir, err := loadData(cmd, file, data)
			if err != nil {
				return err
			}
			return erasePerson(cmd, c, dir, args[0], yes)
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", "", "the configuration")
	cmd.Flags().StringVar(&data, "data", "", "the folder with the record, if it is not the configuration's")
	cmd.Flags().BoolVar(&yes, "yes", false, "do it")
	return cmd
}

func erasePerson(cmd *cobra.Command, c *config.Config, dir, code string, yes bool) error {
	ctx, out := cmd.Context(), cmd.OutOrStdout()
	open := readRecord
	if yes {
		open = openRecord
	}
	store, err := open(ctx, dir)
	if yes && inUse(err) {
		return eraseBeside(ctx, out, dir, code)
	}
	if err != nil {
		return err
	}
	if yes {
		if err := alone(ctx, store); err != nil {
			return errors.Join(fmt.Errorf("nobody can be taken out of it by this command: %w; its log, and the others, have all of it", err), store.Close())
		}
	}
	done, err := eraseFrom(ctx, out, c, store, dir, code, yes)
	if err = errors.Join(err, store.Close()); err != nil || !done {
		return err
	}
	return removeCopies(dir)
}

func eraseFrom(ctx context.Context, out io.Writer, c *config.Config, store *sqlite.Store, dir, code string, yes bool) (done bool, err error) {
	stays, err := person.Stays(ctx, store, code)
	if err != nil {
		return false, err
	}
	named, err := person.Named(ctx, store, code)
	if err != nil {
		return false, err
	}
	if len(stays) == 0 && len(named) == 0 && !yes {
		fmt.Fprintf(out, "the record has nothing of %s\n", code)
		return false, nil
	}
	tellHeld(out, code, stays, named)
	if err := tellElsewhere(ctx, out, c, store, code); err != nil {
		return false, err
	}
	if !yes {
		if err := person.Ended(stays); err != nil {
			fmt.Fprintf(out, "it cannot be erased yet: %v\n", err)
		}
		fmt.Fprintln(out, "nothing was changed; --yes erases it for good")
		return false, nil
	}
	n, pseudonym, err := eraseNow(ctx, c, store, code, onConsole)
	if err != nil {
		return false, err
	}
	fmt.Fprintf(out, "erased: %d blocks of readings, %d stretches of history, %d entries, %d documents. What is left stands under %s\n",
		n.Blocks, n.Stretches, n.Entries, n.Documents, pseudonym)
	return true, nil
}

// plansDuring are those by which a stay may have been measured: of the configurations
// that were in force during it, and of the one of now.
func plansDuring(ctx context.Context, c *config.Config, log journal.Log, s *person.Stay) ([]*rules.Plan, error) {
	plans := []*rules.Plan{c.Plan()}
	at := []sample.Instant{s.From}
	all, err := keeper.Reigns(ctx, log, nil)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if e := &all[i]; e.At >= s.From && e.At <= s.To {
			at = append(at, e.At)
		}
	}
	for _, then := range at {
		setup, err := setupAt(ctx, c, log, then)
		if err != nil {
			return nil, err
		}
		plans = append(plans, setup.Plan)
	}
	return plans, nil
}

func tellHeld(out io.Writer, code string, stays []person.Stay, named map[record.Kind]int) {
	when := func(at sample.Instant) string {
		if at == sample.Never {
			return "now"
		}
		return at.Time().UTC().Format(time.RFC3339)
	}
	for i := range stays {
		fmt.Fprintf(out, "%v, from %s to %s, with its readings\n", &stays[i], when(stays[i].From), when(stays[i].To))
	}
	for _, k := range slices.Sorted(maps.Keys(named)) {
		fmt.Fprintf(out, "%s: %d entries name %s\n", k, named[k], code)
	}
}

// tellElsewhere says where else the person's data may be.
func tellElsewhere(ctx context.Context, out io.Writer, c *config.Config, store *sqlite.Store, code string) error {
	if person.Names([]byte(c.Text), code) {
		fmt.Fprintf(out, "the configuration itself names %s: change it, or the next start keeps it again\n", code)
	}
	for i := range c.Bridges {
		if path := c.Bridges[i].Capture; path != "" {
			fmt.Fprintf(out, "not reached: the capture of bridge %s, %s, has what its sensors sent\n", c.Bridges[i].ID, path)
		}
	}
	for _, name := range store.Damaged() {
		fmt.Fprintf(out, "%s, a file as it was before it was mended, goes too\n", name)
	}
	about := map[uint64]bool{}
	for e, err := range audit.Lines(ctx, store, audit.Query{Person: code}) {
		if err != nil {
			return err
		}
		about[e.Body.(record.Audit).Number] = true
	}
	for e, err := range audit.Lines(ctx, store, audit.Query{}) {
		if err != nil {
			return err
		}
		a := e.Body.(record.Audit)
		if a.What == audit.BackedUp || about[a.Number] && (a.What == audit.Exported || a.What == audit.Reported) {
			fmt.Fprintf(out, "not reached: %s  %s\n", e.At.Time().UTC().Format(time.RFC3339), audit.Sentence(&e))
		}
	}
	return nil
}
