package main

import (
	"github.com/spf13/cobra"
)

func newRun() *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "run -c FILE",
		Short: "Read the bridges, judge, and serve the pages",
		Long: `Runs the daemon in the foreground until it is interrupted. Pages, API and metrics
are served on the address that the configuration names, 127.0.0.1:8420 unless it
says otherwise.

` + caution,
		Example: "  weald run -c weald.yaml",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := load(cmd, path)
			if err != nil {
				return err
			}
			if c.Cluster != nil {
				return runWithOthers(cmd.Context(), c, cmd.ErrOrStderr())
			}
			l, err := listen(c.Listen)
			if err != nil {
				return err
			}
			d, err := newDaemon(cmd.Context(), c, 1, cmd.ErrOrStderr())
			if err != nil {
				l.Close()
				return err
			}
			return d.run(cmd.Context(), l)
		},
	}
	cmd.Flags().StringVarP(&path, "config", "c", "", "the configuration")
	return cmd
}
