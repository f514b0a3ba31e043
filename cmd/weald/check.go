package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"weald/config"
)

func newCheck() *cobra.Command {
	var schema bool
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Say what is wrong with a configuration, all at once",
		Long: `Reads a configuration and prints one line for each problem:

  file:line:column: what is wrong and what would be right

The exit status is 0 if nothing is wrong, and 1 otherwise.`,
		Example: "  weald check weald.yaml\n  weald check --schema > weald.schema.json",
		Args:    arguments(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case schema:
				_, err := cmd.OutOrStdout().Write(config.Schema())
				return err
			case len(args) == 0:
				return usageError{errors.New("check needs a file")}
			}
			if _, problems := config.Load(args[0]); len(problems) > 0 {
				fmt.Fprintln(cmd.OutOrStdout(), harmless(problems.Error()))
				return errFound
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&schema, "schema", false, "print the JSON Schema of the configuration, for editors")
	return cmd
}

// load reads a configuration for a command that needs one in order, and that has one
// record.
func load(cmd *cobra.Command, path string) (*config.Config, error) {
	c, err := loadWhole(cmd, path)
	if err != nil {
		return nil, err
	}
	if err := undivided(c); err != nil {
		return nil, usageError{err}
	}
	return c, nil
}

// undivided returns an error for a configuration that divides its places into shares.
func undivided(c *config.Config) error {
	if shares := c.Shares(); len(shares) > 0 {
		return fmt.Errorf("each share has a record of its own; say which: -c '%s'", strings.Join(shares, "', or -c '"))
	}
	return nil
}

// loadWhole reads a configuration in which nothing is wrong, with all its shares.
func loadWhole(cmd *cobra.Command, path string) (*config.Config, error) {
	if path == "" {
		return nil, usageError{errors.New("say which configuration: -c weald.yaml")}
	}
	c, problems := config.Load(path)
	if len(problems) > 0 {
		fmt.Fprintln(cmd.ErrOrStderr(), harmless(problems.Error()))
		return nil, errFound
	}
	return c, nil
}
