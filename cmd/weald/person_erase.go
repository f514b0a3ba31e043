package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"weald/config"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/access"
	"weald/stream/journal/sqlite"
	"weald/stream/person"
	"weald/stream/pulse/systemd"
	"weald/webui/api"
)

// A person is taken out of a record that nobody else uses. A daemon that uses it therefore
// ends when that is asked of it, which throws away all that it knows by heart, has the
// record made anew, and begins again as after any end: it is an ordinary end and an
// ordinary start, in one process. It keeps its address, its clock and its configuration.

// An erasing is an erasure that has been asked of a daemon.
type erasing struct{ code, by string }

// errErase ends a daemon for an erasure.
var errErase = errors.New("the record is made anew without a person")

// errNothing says that there is nobody to erase.
var errNothing = errors.New("the record has nothing of that person")

// erasureOf prepares to take a person out. Its errors say why that cannot be.
func erasureOf(ctx context.Context, c *config.Config, store *sqlite.Store, code, by string) (*person.Erasure, error) {
	stays, err := person.Stays(ctx, store, code)
	if err != nil {
		return nil, err
	}
	now := sample.At(time.Now())
	who, err := access.Read(ctx, store, access.DefaultLimits, now)
	if err != nil {
		return nil, err
	}
	for _, a := range who.Accounts(now) {
		if a.Name == code {
			return nil, fmt.Errorf("%s has an account: remove it first, with weald account remove %s", code, code)
		}
	}
	return &person.Erasure{Code: code, Stays: stays, By: by, At: now, Plans: func(s *person.Stay) ([]*rules.Plan, error) {
		return plansDuring(ctx, c, store, s)
	}}, nil
}

// waits says for people what an erasure has to wait for.
func waits(err error) error {
	switch {
	case errors.Is(err, person.ErrLasts):
		return fmt.Errorf("%w: end it first", err)
	case errors.Is(err, person.ErrRecent):
		return fmt.Errorf("%w: let the daemon run for two more minutes", err)
	case errors.Is(err, person.ErrStanding):
		return fmt.Errorf("%w: wait until that alert is over, or take it back", err)
	}
	return err
}

// eraseNow takes a person out of a record that nobody else uses.
func eraseNow(ctx context.Context, c *config.Config, store *sqlite.Store, code, by string) (sqlite.Reworked, string, error) {
	x, err := erasureOf(ctx, c, store, code, by)
	if err != nil {
		return sqlite.Reworked{}, "", err
	}
	n, err := x.Erase(ctx, store)
	return n, x.Pseudonym, waits(err)
}

// removeCopies deletes what was made of a record, which goes with the next start anyway.
func removeCopies(dir string) (err error) {
	for _, name := range []string{exportsName, rehearsalsName} {
		err = errors.Join(err, os.RemoveAll(filepath.Join(dir, name)))
	}
	return err
}

// eraseFor begins an erasure: the daemon ends for it with ctx, when whoever asked has been
// answered. Its errors wrap api.ErrNotErased where it cannot be.
func (d *daemon) eraseFor(ctx context.Context, code, by string) error {
	t := d.now()
	if t.config.Cluster != nil {
		return fmt.Errorf("%w: several machines keep the record, and the log of all of them has what was written", api.ErrNotErased)
	}
	x, err := erasureOf(ctx, t.config, d.store, code, by)
	if err == nil {
		if named, e := person.Named(ctx, d.store, code); e != nil {
			return e
		} else if len(named) == 0 && len(x.Stays) == 0 {
			err = errNothing
		}
	}
	if err == nil {
		err = waits(x.May(ctx, d.store))
	}
	if err != nil {
		return fmt.Errorf("%w: %w", api.ErrNotErased, err)
	}
	if !d.erasing.CompareAndSwap(nil, &erasing{code, by}) {
		return fmt.Errorf("%w: another erasure has begun", api.ErrNotErased)
	}
	context.AfterFunc(ctx, func() { d.group.Go(func() error { return errErase }) })
	return nil
}

// runOn runs a daemon on l until ctx ends, and one after the other where they end for an
// erasure.
func runOn(ctx context.Context, c *config.Config, speed float64, l net.Listener, stderr io.Writer) error {
	// While no daemon listens for it, as during an erasure, SIGHUP must not end the process.
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	after, rest := sample.Past, func() {}
	for {
		d, err := newDaemonAfter(ctx, c, speed, after, stderr)
		rest()
		if err != nil {
			return errors.Join(err, l.Close())
		}
		err = d.run(ctx, l)
		if !errors.Is(err, errErase) || ctx.Err() != nil {
			return err
		}
		if err.Error() != errErase.Error() { // and something else
			d.log.Warn("the daemon did not end in order for an erasure", slog.Any("error", err), slog.String("do", "weald doctor reads the record and says what is wrong with it"))
		}
		c, after = d.now().config, d.clock.Now()
		busy, cancel := context.WithTimeout(ctx, longestErasure)
		rest = cancel // once the next one is made
		go systemd.Asked(os.Getenv).During(busy, os.Getenv)
		select {
		case <-hangup: // which that daemon has heard
		default:
		}
		d.eraseMeanwhile(ctx, c)
		select {
		case <-hangup: // the next one begins with what the file says now, as a reload would
			if fresh, problems := config.Load(c.Path); len(problems) == 0 && fixed(c, fresh) == nil {
				c = fresh
			} else {
				d.log.Error("the configuration is not applied, and the former one stays in force", slog.String("do", "reload again, which says what is wrong with the file"))
			}
		default:
		}
		if l, err = listen(l.Addr().String()); err != nil {
			rest()
			return err
		}
	}
}

// eraseMeanwhile carries out what a daemon has ended for. What goes wrong is said, and
// changes nothing for the daemon that comes after it.
func (d *daemon) eraseMeanwhile(ctx context.Context, c *config.Config) {
	began := time.Now()
	d.log.Warn("the record is made anew without a person, and nothing is watched meanwhile", slog.String("do", "look at the people in your care; it goes on by itself"))
	store, err := openRecord(ctx, c.Data)
	if err == nil {
		asked := d.erasing.Load()
		_, _, err = eraseNow(ctx, c, store, asked.code, asked.by)
		err = errors.Join(err, store.Close(), removeCopies(c.Data))
	}
	if err != nil {
		d.log.Error("the person is still in the record", slog.Any("error", err), slog.String("do", "ask for it again, or stop weald and see what weald person erase says"))
		return
	}
	d.log.Info("the record is made anew without the person, and all goes on", slog.Duration("took", time.Since(began)))
}

// longestErasure is for how long the service manager is told that the daemon is at it: one
// that hangs is ended then.
const longestErasure = 30 * time.Minute

// eraseBeside has the daemon do it that uses the record, and waits until it is done.
func eraseBeside(ctx context.Context, out io.Writer, dir, code string) error {
	if err := askDaemon(ctx, dir, question{Erase: code}, func(l answerLine) { fmt.Fprintln(out, l.Finding) }); err != nil {
		return err
	}
	fmt.Fprintln(out, "the running daemon ends for it, and goes on by itself")
	waiting, stop := context.WithTimeoutCause(ctx, longestErasure, errors.New("the daemon has not come back: see its log, and whether it runs"))
	defer stop()
	for {
		select {
		case <-time.After(time.Second):
		case <-waiting.Done():
			return context.Cause(waiting)
		}
		// It answers again when it is there again.
		if err := askDaemon(ctx, dir, question{Facts: true}, func(answerLine) {}); err != nil {
			continue
		}
		store, err := readRecord(ctx, dir)
		if err != nil {
			return err
		}
		named, err := person.Named(ctx, store, code)
		if err = errors.Join(err, store.Close()); err != nil {
			return err
		}
		if len(named) > 0 {
			return fmt.Errorf("the record still has %s: the log of the daemon says why", code)
		}
		fmt.Fprintln(out, "erased; the daemon goes on")
		return nil
	}
}
