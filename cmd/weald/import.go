package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/importing"
)

type importFlags struct {
	config string
	inputs []string
	out    string
	most   int
	strict bool
	edf    string
	json   bool

	sessions, place, by, zone string
}

func newImport() *cobra.Command {
	var f importFlags
	cmd := &cobra.Command{
		Use:   "import -c FILE [--input BRIDGE=FILE …]",
		Short: "Take a recording in, and say what was refused and why",
		Long: `Reads recordings as the configured bridges would, says what was taken and what
was refused, with line, column and reason, and what the clocks in them did, and
writes what was taken as captures, which can be rehearsed and played at once.

A recording is a file in the bridge's own format or a capture. Without --input,
every bridge whose link is a file is imported. A capture is written to the data
folder of the configuration, as BRIDGE-NAME.wcap after the recording's name,
unless --out says where. Nothing is ever overwritten.

Rows are taken as they are: no value and no time is changed, and a clock that
jumped is told of and not mended.

With --edf the signals of an EDF or EDF+ file that are in mmHg, such as export
writes, become rows and a configuration in a new folder, which can be rehearsed.

With --sessions the files of a folder go into the record in the data folder, each as a
session of the person after whose code it is named, up to the first _, such as
K-12_monday.csv: for reports, exports and rehearsals as of what came live. They are
judged by the rules, nobody is called, and no daemon may use the record meanwhile. Rows
that count from their own beginning need it in the name: K-12_2026-03-01T09-30.csv.
What the record has of the folder is left out: an import that was interrupted is gone on
with by the same command, and so is a folder in which there are more files by now.

With --json each refusal is an object a line, {"problem": …}, each step of a
clock {"step": …}, and the last line of each recording is {"account": …}.`,
		Example: `  weald import -c weald.yaml --input logger=k07.csv
  weald import -c weald.yaml --input hub=card.bin --out card.wcap --strict
  weald import --edf k07.edf --out k07-again
  weald import -c trial.yaml --sessions recordings --by R-1`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return importAll(cmd, f) },
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration")
	flags.StringArrayVar(&f.inputs, "input", nil, "a recording of a bridge, BRIDGE=FILE; may be repeated")
	flags.StringVar(&f.edf, "edf", "", "an EDF or EDF+ file, to be made into rows and a configuration in the folder --out")
	flags.StringVar(&f.out, "out", "", "the capture to write, for a single recording; the folder for --edf")
	flags.IntVar(&f.most, "problems", 10, "how many refusals and steps of clocks to show; the totals are always whole")
	flags.StringVar(&f.sessions, "sessions", "", "a folder of recordings that go into the record, each as a session")
	flags.StringVar(&f.place, "place", "", "of sessions: the place where they were recorded, if there are several")
	flags.StringVar(&f.by, "by", "", "of sessions: a code for who takes them in, such as R-1; never a name")
	flags.StringVar(&f.zone, "zone", "", "of sessions: the zone of times in names, such as Europe/Vienna; that of this machine without it")
	flags.BoolVar(&f.strict, "strict", false, "exit with 1 if anything was refused")
	flags.BoolVar(&f.json, "json", false, "one JSON object a line")
	return cmd
}

func importAll(cmd *cobra.Command, f importFlags) error {
	if f.edf != "" {
		if f.config != "" || len(f.inputs) > 0 {
			return usageError{errors.New("--edf makes a configuration of its own: give it neither -c nor --input")}
		}
		return importEDF(cmd, f.edf, f.out)
	}
	if f.most < 0 {
		return usageError{fmt.Errorf("--problems %d is negative", f.most)}
	}
	c, err := load(cmd, f.config)
	if err != nil {
		return err
	}
	if f.sessions != "" {
		if len(f.inputs) > 0 || f.out != "" || f.json {
			return usageError{errors.New("--sessions writes into the record: give it neither --input nor --out nor --json")}
		}
		return importSessions(cmd, c, f)
	}
	if len(f.inputs) == 0 && !slices.ContainsFunc(c.Bridges, func(b config.Bridge) bool { return b.Link.File != nil }) {
		return usageError{errors.New("nothing to import: give --input BRIDGE=FILE, or a bridge whose link is a file")}
	}
	files, err := inputFiles(c, f.inputs)
	if err != nil {
		return err
	}
	if f.out != "" && len(files) > 1 {
		return usageError{fmt.Errorf("--out names one file, and %d recordings are to be imported", len(files))}
	}
	refused := false
	for _, in := range files {
		out := f.out
		if out == "" {
			if out, err = importedName(c, in); err != nil {
				return err
			}
		}
		a, err := importOne(cmd, c, in, out, f.most)
		if err != nil {
			return err
		}
		if err := reportImport(cmd.OutOrStdout(), a, f.json); err != nil {
			return err
		}
		refused = refused || a.Output == "" || f.strict && !a.Clean()
	}
	if refused {
		return errFound
	}
	return nil
}

// importedName is where a capture goes that nobody has named.
func importedName(c *config.Config, in inputFile) (string, error) {
	if c.Data == "" {
		return "", usageError{errors.New("say where to write the capture: --out FILE, or a data folder in the configuration")}
	}
	if err := os.MkdirAll(c.Data, 0o700); err != nil {
		return "", fmt.Errorf("data folder: %w", err)
	}
	name := filepath.Base(in.path)
	return filepath.Join(c.Data, in.bridge.ID+"-"+strings.TrimSuffix(name, filepath.Ext(name))+".wcap"), nil
}

func importOne(cmd *cobra.Command, c *config.Config, in inputFile, out string, most int) (*importing.Account, error) {
	show := newProgress(cmd.ErrOrStderr(), in.path)
	a, err := importing.File(cmd.Context(), bridgeOf(c, in.bridge, nil), in.path, out, importing.Options{Most: most, Progress: show.tell})
	show.end()
	if errors.Is(err, context.Canceled) {
		return nil, fmt.Errorf("%s: interrupted, and nothing was written", in.path)
	}
	return a, err
}
