package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/ingest/emulate"
)

type demoFlags struct {
	speed  float64
	data   string
	listen string
	seed   uint64
}

func newDemo() *cobra.Command {
	f := demoFlags{speed: 1, listen: "127.0.0.1:8420", seed: 1}
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Show an invented ward on emulated bridges",
		Long: `Runs the daemon on the invented ward Larch: six beds, two wraps on a bench and two
seats, played as bridges over pseudo-terminals. Nothing in it is about a person.

With --speed the whole ward, its clock included, runs that many times as fast.

` + caution,
		Example: "  weald demo\n  weald demo --speed 20 --listen 127.0.0.1:8421",
		Args:    arguments(cobra.NoArgs),
		RunE:    func(cmd *cobra.Command, _ []string) error { return demo(cmd, f) },
	}
	flags := cmd.Flags()
	flags.Float64Var(&f.speed, "speed", f.speed, fasterThanLife)
	flags.StringVar(&f.data, "data", "", "a folder for its ports and configuration; a temporary one unless given")
	flags.StringVar(&f.listen, "listen", f.listen, "address of the pages; port 0 picks a free one")
	flags.Uint64Var(&f.seed, "seed", f.seed, "equal seeds give equal wards")
	return cmd
}

const fasterThanLife = "how many times as fast as life, 0.1 to 100"

// aSpeed refuses what is no speed for a daemon.
func aSpeed(speed float64) error {
	if !(speed >= 0.1 && speed <= 100) {
		return usageError{errors.New("--speed must be from 0.1 to 100")}
	}
	return nil
}

func demo(cmd *cobra.Command, f demoFlags) error {
	if err := aSpeed(f.speed); err != nil {
		return err
	}
	if !config.OnLoopback(f.listen) {
		return usageError{fmt.Errorf("--listen is %q: the demonstration is for this machine alone, as anything else requires TLS and accounts; give 127.0.0.1:8420", f.listen)}
	}
	if f.data == "" {
		dir, err := os.MkdirTemp("", "weald-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		f.data = dir
	}
	// The configuration says where the pages are, so that commands find them; not where that
	// is another port at each start, as it would be another configuration each time.
	at := f.listen
	if _, port, _ := net.SplitHostPort(at); port == "0" {
		at = ""
	}
	ward, err := emulate.NewDemo(f.data, emulate.DemoOptions{Speed: f.speed, Seed: f.seed, Listen: at})
	if err != nil {
		return err
	}
	defer ward.Close()
	name := filepath.Join(f.data, "larch.yaml")
	if err := os.WriteFile(name, []byte(ward.Config()), 0o600); err != nil {
		return fmt.Errorf("demonstration: %w", err)
	}
	c, problems := config.Load(name)
	if len(problems) > 0 {
		return fmt.Errorf("the demonstration's configuration is wrong: %w", problems)
	}
	l, err := listen(f.listen)
	if err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(cmd.Context())
	group.Go(func() error { return ward.Run(ctx) })
	group.Go(func() error { return runOn(ctx, c, f.speed, l, cmd.ErrOrStderr()) })
	return group.Wait()
}
