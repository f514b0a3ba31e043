package ble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"weald/ingest/ble/bluez"
)

// Why a peripheral is not read. ErrDropped, ErrAdapterGone and ErrBehind end a
// Read, the others an Open.
var (
	ErrNoAdapter   = errors.New("no such Bluetooth adapter")
	ErrNotFound    = errors.New("no such peripheral in reach: is it on, charged, and not connected elsewhere?")
	ErrNoService   = errors.New("the peripheral does not offer this service")
	ErrDropped     = errors.New("the peripheral ended the connection or went out of reach")
	ErrAdapterGone = errors.New("the Bluetooth adapter was pulled out or switched off")
	ErrBehind      = errors.New("notifications came faster than they were read")
)

// limits bound how long the steps of Open take, so that a person is told what
// is wrong and the radio is not kept scanning.
type limits struct {
	scan    time.Duration // until the peripheral is heard
	settle  time.Duration // until a second one of the same name is heard
	connect time.Duration // as long as BlueZ itself tries, and a bit
	resolve time.Duration // of its services
	ask     time.Duration // any other question
	goodbye time.Duration // for BlueZ to end a connection
}

var patience = limits{
	scan: 15 * time.Second, settle: 1500 * time.Millisecond, connect: 45 * time.Second,
	resolve: 30 * time.Second, ask: 10 * time.Second, goodbye: 3 * time.Second,
}

// A Link is one peripheral. It may be opened again and again, one connection
// at a time.
type Link struct {
	config                  Config
	service, characteristic bluez.UUID
	encoder                 *encoder // nil for packed frames; goes on from one connection to the next
	limits                  limits
}

// Name says which peripheral this is, for people.
func (l *Link) Name() string {
	if l.config.Address != "" {
		return "ble:" + l.config.Address
	}
	return "ble:" + l.config.Name
}

// Open finds the peripheral, with a scan if BlueZ does not know it, connects,
// and asks for notifications. Its error wraps one of the sentinels of this
// package or of package bluez, or fs.ErrPermission. It returns when ctx ends,
// once an attempt to connect is called off, and after a few minutes at most. The
// connection stays open until Close, whatever becomes of ctx.
//
// What it returns is a *Conn.
func (l *Link) Open(ctx context.Context) (io.ReadCloser, error) {
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	c, err := l.open(ctx)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.Name(), err)
	}
	return c, nil
}

// within runs one step of Open with a time limit. A step that takes longer
// fails with late.
func within(ctx context.Context, limit time.Duration, late error, step func(context.Context) error) error {
	ctx, cancel := context.WithTimeoutCause(ctx, limit, late)
	defer cancel()
	return step(ctx)
}

var errSlow = errors.New("the Bluetooth service does not answer")

func (l *Link) open(ctx context.Context) (_ *Conn, err error) {
	var bus *bluez.Bus
	err = within(ctx, l.limits.ask, errSlow, func(ctx context.Context) (err error) {
		bus, err = bluez.Dial(ctx, l.config.Bus)
		return err
	})
	if err != nil {
		return nil, err
	}
	c := &Conn{name: l.Name(), bus: bus, encoder: l.encoder, limits: l.limits}
	defer func() {
		if err != nil {
			c.leave()
		}
	}()
	adapter, err := pickAdapter(bus.Tree, l.config.Adapter)
	if err != nil {
		return nil, err
	}
	c.adapter = adapter.Path
	device, err := l.find(ctx, bus, adapter)
	if err != nil {
		return nil, err
	}
	c.device = device.Path
	err = within(ctx, l.limits.ask, errSlow, func(ctx context.Context) error {
		return bus.Watch(ctx, bluez.Changes(c.adapter), bluez.Changes(c.device), bluez.ArrivalsAt(c.device))
	})
	if err != nil {
		return nil, err
	}
	if err := c.connect(ctx); err != nil {
		return nil, err
	}
	frames, err := pickCharacteristic(bus.Tree, c.device, l.service, l.characteristic)
	if err != nil {
		return nil, err
	}
	c.followBattery(ctx)
	if err := c.subscribe(ctx, frames); err != nil {
		return nil, err
	}
	c.start()
	return c, nil
}

// connect connects to the peripheral, unless it is, and waits until BlueZ knows
// its services.
func (c *Conn) connect(ctx context.Context) error {
	if d, _ := c.bus.Tree.Device(c.device); !d.Connected {
		c.ours = true // even an attempt has to be called off
		late := fmt.Errorf("%w (no connection within %v)", ErrNotFound, c.limits.connect)
		err := within(ctx, c.limits.connect, late, func(ctx context.Context) error {
			return c.bus.Connect(ctx, c.device)
		})
		if errors.Is(err, bluez.ErrFailed) {
			err = fmt.Errorf("%w (%w)", ErrNotFound, err)
		}
		if err != nil {
			return fmt.Errorf("connecting: %w", err)
		}
		if err := within(ctx, c.limits.ask, errSlow, c.bus.Refresh); err != nil {
			return err
		}
	}
	late := fmt.Errorf("the peripheral did not tell its services within %v", c.limits.resolve)
	err := within(ctx, c.limits.resolve, late, func(ctx context.Context) error {
		return c.bus.Await(ctx, func(t bluez.Tree) (bool, error) {
			d, _ := t.Device(c.device)
			return d.Resolved, c.lost(t)
		})
	})
	if err == ErrDropped {
		err = c.reason(ctx, err)
	}
	if err != nil {
		return err
	}
	// Its services came with signals that nobody asked for.
	return within(ctx, c.limits.ask, errSlow, c.bus.Refresh)
}

// lost says why there is no connection, as far as the tree can tell.
func (c *Conn) lost(t bluez.Tree) error {
	if a, ok := t.Adapter(c.adapter); !ok || !a.Powered {
		return ErrAdapterGone
	}
	if d, ok := t.Device(c.device); !ok || !d.Connected {
		return ErrDropped
	}
	return nil
}
