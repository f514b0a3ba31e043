package main

import (
	"errors"

	"github.com/spf13/cobra"
)

func newRun() *cobra.Command {
	var path string
	speed := 1.0
	cmd := &cobra.Command{
		Use:   "run -c FILE",
		Short: "Read the bridges, judge, and serve the pages",
		Long: `Runs the daemon in the foreground until it is interrupted. Pages, API and metrics
are served on the address that the configuration names, 127.0.0.1:8420 unless it
says otherwise.

With --speed its clock runs that many times as fast: for bridges that weald emulate
plays at the same speed, and never for sensors on somebody. All pages say so.

` + caution,
		Example: "  weald run -c weald.yaml",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := aSpeed(speed); err != nil {
				return err
			}
			c, err := loadWhole(cmd, path)
			if err != nil {
				return err
			}
			if c.Cluster != nil && speed != 1 {
				return usageError{errors.New("--speed is for one machine, and the configuration has a cluster")}
			}
			if c.Cluster != nil {
				return runWithOthers(cmd.Context(), c, cmd.ErrOrStderr())
			}
			l, err := listen(c.Listen)
			if err != nil {
				return err
			}
			return runOn(cmd.Context(), c, speed, l, cmd.ErrOrStderr())
		},
	}
	cmd.Flags().StringVarP(&path, "config", "c", "", "the configuration")
	cmd.Flags().Float64Var(&speed, "speed", speed, fasterThanLife)
	return cmd
}
