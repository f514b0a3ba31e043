package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// What emulate can do, in the words that people are told.
const (
	playsScenario  = "a scenario"
	playsRecording = "--recording"
	playsPlaces    = "--places"
)

// emulateTakes says which options each of them looks at. Whoever gives another one
// counts on something that would not happen.
var emulateTakes = func() map[string][]string {
	one := []string{"pty", "out", "seed", "speed", "lasting", "drop", "repeat", "flip", "noise", "unplug-every", "unplug-for"}
	return map[string][]string{
		playsScenario:  append([]string{"source"}, one...),
		playsRecording: append([]string{"recording", "mat", "config", "bridge", "send", "scale"}, one...),
		playsPlaces:    {"places", "rate", "tcp", "mqtt", "write-config", "pages", "seed", "speed"},
	}
}()

// plays says what emulate is asked to do.
func (f *emulateFlags) plays(cmd *cobra.Command) string {
	switch {
	case cmd.Flags().Changed("places"):
		return playsPlaces
	case f.recording.file != "":
		return playsRecording
	}
	return playsScenario
}

// unused is the error that names the options which were given and are not looked at; nil
// if there is none.
func (f *emulateFlags) unused(cmd *cobra.Command) error {
	what := f.plays(cmd)
	var names []string
	cmd.Flags().Visit(func(one *pflag.Flag) {
		if !slices.Contains(emulateTakes[what], one.Name) {
			names = append(names, "--"+one.Name)
		}
	})
	if len(names) == 0 {
		return nil
	}
	return usageError{fmt.Errorf("%s would do nothing with %s", strings.Join(names, ", "), what)}
}
