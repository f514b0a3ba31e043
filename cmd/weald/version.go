package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set by the linker for a release.
var version = "0.1.0-dev"

// build names the version and, where it is known, the commit.
func build() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				return version + " (" + s.Value[:12] + ")"
			}
		}
	}
	return version
}

func newVersion() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Say which version this is",
		Example: "  weald version",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintf(cmd.OutOrStdout(), "weald %s, %s, %s/%s\n", build(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}
