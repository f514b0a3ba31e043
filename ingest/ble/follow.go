package ble

import (
	"context"
	"errors"
	"fmt"

	"weald/ingest/ble/bluez"
)

// subscribe asks for the notifications of a characteristic: through a socket
// where BlueZ offers it, as signals otherwise.
func (c *Conn) subscribe(ctx context.Context, frames bluez.Characteristic) error {
	c.frames = frames.Path
	err := within(ctx, c.limits.ask, errSlow, func(ctx context.Context) (err error) {
		if frames.Acquirable && !frames.Acquired && !frames.Subscribing {
			c.socket, err = c.bus.Acquire(ctx, c.frames)
			// BlueZ refuses this while another program gets the notifications as
			// signals; we then share them.
			if !errors.Is(err, bluez.ErrBusy) && !errors.Is(err, bluez.ErrUnsupported) {
				return err
			}
		}
		c.values = make(chan []byte, queued)
		if err := c.bus.Watch(ctx, bluez.Changes(c.frames)); err != nil {
			return err
		}
		return c.bus.Subscribe(ctx, c.frames)
	})
	if err != nil {
		return fmt.Errorf("asking for notifications of characteristic %s: %w", frames.UUID, err)
	}
	return nil
}

// start begins to follow the peripheral.
func (c *Conn) start() {
	c.ended, c.done = make(chan struct{}), make(chan struct{})
	c.battery.Store(c.level())
	var ctx context.Context
	ctx, c.quit = context.WithCancel(context.Background())
	go func() {
		defer close(c.done)
		c.end(c.follow(ctx))
	}()
}

// follow takes what BlueZ tells until the connection is lost or ctx ends, and
// returns why. It owns the bus meanwhile.
func (c *Conn) follow(ctx context.Context) error {
	for {
		// Something may have happened before anyone followed.
		if err := c.lost(c.bus.Tree); err != nil {
			return c.reason(ctx, err)
		}
		e, err := c.bus.Next(ctx)
		if err != nil {
			return err
		}
		if e.Value != nil && e.Path == c.frames && c.values != nil {
			select {
			case c.values <- e.Value:
			default:
				return ErrBehind
			}
			continue
		}
		c.battery.Store(c.level())
	}
}

// reason waits a moment for what is behind the loss of a peripheral, which may
// be that of its adapter or of BlueZ.
func (c *Conn) reason(ctx context.Context, lost error) error {
	late := errors.New("no reason was told")
	err := within(ctx, why, late, func(ctx context.Context) error {
		return c.bus.Await(ctx, func(t bluez.Tree) (bool, error) {
			if err := c.lost(t); err != ErrDropped {
				return true, err
			}
			return false, nil
		})
	})
	if err == nil || err == late { // it came back, or there is no more to it
		return lost
	}
	return err
}

// followBattery asks for the level of the battery and its changes. BlueZ reads
// the Battery Service itself, unless told not to, and hides it then. A
// peripheral without one, or one that does not answer, is no less a bridge: its
// level is not known.
func (c *Conn) followBattery(ctx context.Context) {
	level, err := pickCharacteristic(c.bus.Tree, c.device, bluez.Assigned(batteryService), bluez.Assigned(batteryLevel))
	if _, known := c.bus.Tree.Battery(c.device); known || level.Path == "" {
		return
	}
	c.batteryValue = level.Path
	within(ctx, c.limits.ask, errSlow, func(ctx context.Context) error {
		if watched := c.bus.Watch(ctx, bluez.Changes(level.Path)); watched != nil {
			return watched
		}
		if err == nil { // it notifies
			c.bus.Subscribe(ctx, level.Path)
		}
		if level.Has("read") {
			c.bus.Read(ctx, level.Path) // BlueZ keeps the value
		}
		return c.bus.Refresh(ctx)
	})
}

// level returns what the tree says of the battery: percent, or -1.
func (c *Conn) level() int32 {
	if percent, ok := c.bus.Tree.Battery(c.device); ok {
		return int32(percent)
	}
	if v := c.bus.Tree.Value(c.batteryValue); len(v) == 1 && v[0] <= 100 {
		return int32(v[0])
	}
	return -1
}
