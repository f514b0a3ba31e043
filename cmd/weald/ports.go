package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"weald/ingest/serialport"
)

func newPorts() *cobra.Command {
	return &cobra.Command{
		Use:     "ports",
		Short:   "List the serial ports that could be bridges",
		Example: "  weald ports",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			ports, err := serialport.Ports()
			if err != nil {
				return fmt.Errorf("list serial ports: %w", err)
			}
			if len(ports) == 0 {
				fmt.Fprintln(cmd.ErrOrStderr(), "no serial port: is a bridge plugged in?")
			}
			for _, p := range ports {
				fmt.Fprintln(cmd.OutOrStdout(), p)
			}
			return nil
		},
	}
}
