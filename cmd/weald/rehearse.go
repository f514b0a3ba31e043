package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/rehearsal"
)

type rehearseFlags struct {
	config      string
	against     string
	inputs      []string
	from, to    string
	byEventTime bool
	json        bool
	failOnAlert bool
}

func newRehearse() *cobra.Command {
	var f rehearseFlags
	cmd := &cobra.Command{
		Use:   "rehearse -c FILE [--against FILE] [--input BRIDGE=FILE …]",
		Short: "Run the rules over recordings as if they came in live",
		Long: `Plays recordings through the configured bridges, calibrations and rules, as fast
as it goes, and prints what would have been raised and cleared.

A recording is a capture of a bridge's raw bytes or a file in the bridge's own
format. Without --input, every bridge whose link is a file is played; where there
is none, the record in the data folder, in the order in which the daemon had it:
with the rules that were in force, that gives the alerts of the live run again.

With --against the rules of another file, a whole configuration or a piece that
has only rules, judge the same readings too, and what is printed is how the alerts
differ: which come with the other rules, which go, which move in time and which
stay, and the figures of both. An alert is the same one if place and rule are and
it shares time. Rules that were quiet on a recording are not thereby safe.

With --json each event is one object a line, in time order, and the last line is
{"summary": …}; with --against each alert is one, and the last line has the
figures of the other rules too, {"summary": …, "against": …, "changes": …}. The
run ends at the last reading.`,
		Example: `  weald rehearse -c weald.yaml --input logger=k07.csv --json
  weald rehearse -c weald.yaml --input hub=night.wcap --from 2026-03-01T22:00:00Z
  weald rehearse -c weald.yaml --from 2026-03-01T22:00:00Z --to 2026-03-02T06:00:00Z
  weald rehearse -c weald.yaml --against milder.yaml --input hub=night.wcap`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return rehearse(cmd, f) },
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration")
	flags.StringVar(&f.against, "against", "", "a file with other rules, to be laid beside those of the configuration")
	flags.StringArrayVar(&f.inputs, "input", nil, "a recording of a bridge, BRIDGE=FILE; may be repeated")
	flags.StringVar(&f.from, "from", "", "judge readings from this instant on, RFC 3339")
	flags.StringVar(&f.to, "to", "", "judge readings before this instant, RFC 3339")
	flags.BoolVar(&f.byEventTime, "by-event-time", false, "put late frames in their place, to see what they would have changed")
	flags.BoolVar(&f.json, "json", false, "one JSON object per event, and a summary")
	flags.BoolVar(&f.failOnAlert, "fail-on-alert", false, "exit with 1 if anything was raised, with --against by the other rules")
	return cmd
}

func rehearse(cmd *cobra.Command, f rehearseFlags) error {
	from, err := instant("--from", f.from, sample.Past)
	if err != nil {
		return err
	}
	to, err := instant("--to", f.to, sample.Never)
	if err != nil {
		return err
	}
	if from >= to {
		return usageError{fmt.Errorf("--from %s is not before --to %s", f.from, f.to)}
	}
	c, err := load(cmd, f.config)
	if err != nil {
		return err
	}
	plans := []*rules.Plan{c.Plan()}
	if f.against != "" {
		other, problems := c.LoadRules(f.against)
		if len(problems) > 0 {
			fmt.Fprintln(cmd.ErrOrStderr(), harmless(problems.Error()))
			return errFound
		}
		plans = append(plans, other)
	}
	options := rehearsal.Options{From: from, To: to, ByEventTime: f.byEventTime}
	results, played, err := runRehearsal(cmd, c, plans, f.inputs, options)
	if err != nil {
		return err
	}
	report := reportRehearsal
	if len(results) > 1 {
		report = reportContrast
	}
	if err := report(cmd.OutOrStdout(), results, played, f.json); err != nil {
		return err
	}
	for _, p := range played {
		p.complain(cmd.ErrOrStderr())
	}
	if f.failOnAlert && results[len(results)-1].Figures.Raised > 0 {
		return errFound
	}
	return nil
}

// runRehearsal plays recordings, or where there is none to play, the record, to
// each of the plans.
func runRehearsal(cmd *cobra.Command, c *config.Config, plans []*rules.Plan, given []string, o rehearsal.Options) ([]*rehearsal.Result, []*recording, error) {
	files, err := inputFiles(c, given)
	if err != nil {
		return nil, nil, err
	}
	if len(files) == 0 {
		results, err := rehearseRecord(cmd.Context(), c, plans, o, cmd.ErrOrStderr())
		return results, nil, err
	}
	played := make([]*recording, len(files))
	inputs := make([]rehearsal.Input, len(files))
	for i, in := range files {
		played[i] = &recording{bridge: bridgeOf(c, in.bridge, nil), path: in.path}
		inputs[i] = played[i].play
	}
	results, err := rehearsal.Run(cmd.Context(), plans, inputs, o)
	return results, played, err
}

func instant(flag, text string, otherwise sample.Instant) (sample.Instant, error) {
	if text == "" {
		return otherwise, nil
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return 0, usageError{fmt.Errorf("%s %q is not a time like 2026-03-01T22:00:00Z", flag, text)}
	}
	return sample.At(t), nil
}

type inputFile struct {
	bridge *config.Bridge
	path   string
}

// inputFiles pairs recordings with bridges, in the order of the configuration.
func inputFiles(c *config.Config, given []string) ([]inputFile, error) {
	paths := map[string]string{}
	for _, text := range given {
		id, path, ok := strings.Cut(text, "=")
		if !ok || id == "" || path == "" {
			return nil, usageError{fmt.Errorf("--input %q is not BRIDGE=FILE", text)}
		}
		if !slices.ContainsFunc(c.Bridges, func(b config.Bridge) bool { return b.ID == id }) {
			return nil, usageError{fmt.Errorf("--input: the configuration has no bridge %q", id)}
		}
		if _, twice := paths[id]; twice {
			return nil, usageError{fmt.Errorf("--input: bridge %q is given twice", id)}
		}
		paths[id] = path
	}
	var files []inputFile
	for i := range c.Bridges {
		b := &c.Bridges[i]
		switch path, ok := paths[b.ID]; {
		case ok:
			files = append(files, inputFile{b, path})
		case len(given) == 0 && b.Link.File != nil && !isFolder(b.Link.File.Path): // what is in a folder are sessions
			files = append(files, inputFile{b, b.Link.File.Path})
		}
	}
	if len(files) == 0 && c.Data == "" {
		return nil, usageError{errors.New("nothing to rehearse: give --input BRIDGE=FILE, a bridge whose link is a file, or data: with a record in it")}
	}
	return files, nil
}
