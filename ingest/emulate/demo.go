package emulate

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"
)

// A Demo is the invented ward Larch: six beds, two legs on a bench, two seats,
// behind four bridges on pseudo-terminals.
type Demo struct {
	config  string
	bridges []demoBridge
}

type demoBridge struct {
	id     string
	port   *Port
	player *Player
}

// DemoOptions is how a Demo plays.
type DemoOptions struct {
	Speed  float64 // seconds of the ward in one second; 0 stands for 1
	Seed   uint64
	Listen string // address of the pages; empty for 127.0.0.1:8420
}

// NewDemo opens the ports, as links in dir/ports, and writes the configuration
// that goes with them. Close must be called in the end.
func NewDemo(dir string, o DemoOptions) (*Demo, error) {
	if o.Speed <= 0 {
		o.Speed = 1
	}
	if o.Listen == "" {
		o.Listen = "127.0.0.1:8420"
	}
	ports := filepath.Join(dir, "ports")
	if err := os.MkdirAll(ports, 0o700); err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	d := &Demo{}
	paths := make(map[string]string)
	for _, b := range larch(o.Seed) {
		b.player.Speed = o.Speed
		port, err := NewPort(filepath.Join(ports, b.id))
		if err != nil {
			d.Close()
			return nil, fmt.Errorf("demonstration: %w", err)
		}
		b.port = port
		paths[b.id] = port.Path()
		d.bridges = append(d.bridges, b)
	}
	config, err := larchConfig(dir, o.Listen, paths)
	if err != nil {
		d.Close()
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	d.config = config
	return d, nil
}

// Config is the configuration of the daemon, in YAML.
func (d *Demo) Config() string { return d.config }

// Run plays until ctx ends, and then returns nil. It starts a goroutine a
// bridge and leaves none behind.
func (d *Demo) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	for _, b := range d.bridges {
		group.Go(func() error {
			if err := b.player.Play(ctx, b.port); err != nil && ctx.Err() == nil {
				return fmt.Errorf("emulated bridge %s: %w", b.id, err)
			}
			return nil
		})
	}
	return group.Wait()
}

// Close unplugs every bridge.
func (d *Demo) Close() error {
	var errs []error
	for _, b := range d.bridges {
		errs = append(errs, b.port.Close())
	}
	return errors.Join(errs...)
}

// larch has the bridges of the ward. Their clocks run as apart as those of real
// ones do, one is about to wrap, and one line is not quite sound.
func larch(seed uint64) []demoBridge {
	minutes := func(p Posture, n int) Lie { return Lie{Posture: p, For: time.Duration(n) * time.Minute} }
	return []demoBridge{
		{id: "hub-1", player: &Player{
			Encoding: packed12, Starts: 81_250, Skew: 38, Firmware: "larch-hub 2", Seed: seed,
			Stream: merge(
				bed(1, 0.92, seed+1, minutes(Supine, 25), minutes(OnLeft, 30), minutes(Supine, 20), minutes(OnRight, 30)),
				bed(2, 0.86, seed+2, minutes(OnRight, 40), minutes(Supine, 35)),
				bed(3, 0.95, seed+3, minutes(Supine, 3), minutes(OnLeft, 2), minutes(OnRight, 3), minutes(Supine, 2)),
			),
		}},
		{id: "hub-2", player: &Player{
			Encoding: halves, Starts: 1<<32 - 90_000, Skew: -55, Firmware: "larch-hub 2", Seed: seed,
			Damage: Damage{Flip: 0.0005},
			Stream: merge(
				bed(4, 1.35, seed+4, heavy...),
				bed(5, 0.8, seed+5, minutes(OnLeft, 18), minutes(Empty, 7), minutes(Supine, 26)),
				bed(6, 0.93, seed+6, minutes(Supine, 55), minutes(OnRight, 45)),
			),
		}},
		{id: "trolley", player: &Player{
			Encoding: lines, Starts: 4_000, Skew: 120, Seed: seed,
			Stream: merge(
				leg(0, seed+7, tight),
				leg(1, seed+8, Wrap{Ankle: 36, Calf: 17, Stands: 9, Steps: 10, Loses: 0.45, Moves: active}),
			),
		}},
		{id: "chairs", player: &Player{
			Encoding: packed12, Starts: 600_000, Skew: 12, Firmware: "larch-seat 1", Seed: seed,
			Damage: Damage{UnplugEvery: 15 * time.Minute, UnplugFor: 12 * time.Second},
			Stream: merge(seat(1, 0.95, seed+9, restless...), seat(2, 0.9, seed+10, still...)),
		}},
	}
}
