package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"weald/ingest/emulate/hospital"
)

// A placesFlags is what many places are like.
type placesFlags struct {
	places    int
	rate      float64
	tcp, mqtt string
	config    string
	pages     string
}

func (f *placesFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.IntVar(&f.places, "places", 0, "play the scenario at so many places at once, each behind a bridge of its own")
	flags.Float64Var(&f.rate, "rate", 0, "of many places: scans a second of each; 0 for the scenario's own")
	flags.StringVar(&f.tcp, "tcp", "", "of many places: where their bridges wait for the daemon, such as 127.0.0.1:4000")
	flags.StringVar(&f.mqtt, "mqtt", "", "of many places: where the daemon listens for bridges, such as 127.0.0.1:1883; with --tcp, for every other one")
	flags.StringVar(&f.config, "write-config", "", "of many places: the file to write the daemon's configuration to")
	flags.StringVar(&f.pages, "pages", "", "of many places: where the daemon serves its pages")
}

// play plays the scenario at all places until the command is told to end.
func (f *placesFlags) play(cmd *cobra.Command, scenario string, speed float64, seed uint64) error {
	switch {
	case scenario == "":
		return usageError{errors.New("--places needs a scenario")}
	case f.config == "":
		return usageError{errors.New("--places needs --write-config: a daemon has to know of the places")}
	case !(speed > 0):
		return usageError{errors.New("--places needs a --speed above 0")}
	}
	h, err := hospital.New(hospital.Options{
		Scenario: scenario, Places: f.places, Rate: f.rate, Speed: speed, TCP: f.tcp, MQTT: f.mqtt,
		Password: f.config + ".secret", Pages: f.pages, Seed: seed,
	})
	if err != nil {
		return usageError{err}
	}
	defer h.Close()
	config, err := h.Config()
	if err != nil {
		return err
	}
	if err := os.WriteFile(f.config, []byte(config), 0o600); err != nil {
		return fmt.Errorf("the daemon's configuration: %w", err)
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "weald: playing at %d places, which are heard by: weald run -c %s\n", f.places, f.config)
	err = h.Run(cmd.Context())
	fmt.Fprintf(cmd.ErrOrStderr(), "weald: %d scans were sent, of %d that were begun\n", h.Sent(), h.Begun())
	return err
}
