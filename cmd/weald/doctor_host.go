package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sys/unix"

	"weald/stream/selfwatch"
	"weald/stream/selfwatch/host"
)

// folder looks at the data folder. It reports whether there is one.
func (d *doctor) folder(dir string) bool {
	about := "data folder " + dir
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		d.wrong(about, "it is not there", "", "a daemon makes it when it starts; if one has, give the right data:")
		return false
	case err != nil:
		d.wrong(about, err.Error(), "", "")
		return false
	case !info.IsDir():
		d.wrong(about, "it is a file", "a daemon does not start", "give a folder")
		return false
	}
	if others := info.Mode().Perm() & 0o077; others != 0 {
		d.wrong(about, fmt.Sprintf("others may use it (mode %04o)", info.Mode().Perm()), "the record is of patients", "chmod 0700 "+dir)
	} else {
		d.ok(about, "closed to others")
	}
	if err := unix.Access(dir, unix.R_OK|unix.W_OK|unix.X_OK); err != nil {
		d.wrong(about, "this account may not write to it", "a daemon of this account does not start", "give it to the account: chown, or run as the account that it belongs to")
	}
	files, _ := os.ReadDir(dir) // what cannot be read was said
	for _, f := range files {
		path := filepath.Join(dir, f.Name())
		if err := unix.Access(path, unix.R_OK|unix.W_OK); errors.Is(err, fs.ErrPermission) {
			d.wrong(about, f.Name()+" in it is not for this account", "a daemon of this account does not start; somebody has run weald as another", "chown all of it to the account of the daemon")
		}
	}
	return true
}

// What room there is for: fewer days are wrong, and are to be looked at.
const (
	fewDays  = 2
	someDays = 14
)

// room looks how much is free, and for how long that is enough: readings of a whole day
// are what the largest of the last week's took, of which the present day is none.
func (d *doctor) room(dir string) {
	about := "data folder " + dir
	free := host.FreeGB(dir)
	least := selfwatch.Kinds[selfwatch.Index(selfwatch.Disk)].Default.Limit
	day := daily(dir, d.now)
	if days := free / day; day > 0 && days < someDays {
		found := fmt.Sprintf("%.1f GB are left, which is enough for %.0f days of readings of %.1f GB", free, days, day)
		const do = "make room, or let keep: of the configuration delete what is old"
		if days < fewDays {
			d.wrong(about, found, "then readings are not kept", do)
		} else {
			d.look(about, found, "then readings are not kept", do)
		}
		return
	}
	switch {
	case free != free:
		d.wrong(about, "how much room it has cannot be told", "", "")
	case free < least:
		d.wrong(about, fmt.Sprintf("only %.1f GB are left; %g GB would be right", free, least), "when nothing is left readings are not kept", "make room")
	case day > 0:
		d.ok(about, "%.1f GB are left, enough for %.0f days", free, min(free/day, 9999))
	default:
		d.ok(about, "%.1f GB are left", free)
	}
}

// daily returns how many GB the largest of the last seven whole days of readings has; 0
// if there is none.
func daily(dir string, now time.Time) float64 {
	files, _ := filepath.Glob(filepath.Join(dir, "readings-*.db")) // the pattern is in order
	today := "readings-" + now.UTC().Format(time.DateOnly) + ".db"
	files = slices.DeleteFunc(files, func(f string) bool { return filepath.Base(f) >= today })
	slices.Sort(files)
	most := int64(0)
	for _, f := range files[max(0, len(files)-7):] {
		if info, err := os.Stat(f); err == nil {
			most = max(most, info.Size())
		}
	}
	return float64(most) / 1e9
}

// slow is how long the disk may take for a page: an alert is told when it is on the
// disk, and is promised within a quarter of a second.
const slow = 100 * time.Millisecond

// speed looks how long the disk takes to have something for certain.
func (d *doctor) speed(dir string) {
	about := "data folder " + dir
	f, err := os.CreateTemp(dir, ".doctor-*")
	if err != nil {
		return // that it cannot be written to was said
	}
	defer os.Remove(f.Name())
	defer f.Close()
	var took []time.Duration
	page := make([]byte, 4096)
	for range 9 {
		began := time.Now()
		_, err := f.Write(page)
		if err == nil {
			err = f.Sync()
		}
		if err != nil {
			d.wrong(about, "a page could not be written: "+err.Error(), "nothing is kept then", "make room, or see what the system says of the disk: dmesg")
			return
		}
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	d.pace(about, took[len(took)/2])
}

func (d *doctor) pace(about string, median time.Duration) {
	if median > slow {
		d.look(about, fmt.Sprintf("the disk takes %v to have a page for certain", median.Round(time.Millisecond)), "alerts are told when they are on it, so that they come late", "see what else writes to it; an SSD takes a few milliseconds")
	} else {
		d.ok(about, "the disk takes %v to have a page for certain", median.Round(10*time.Microsecond))
	}
}

// clock looks what the kernel thinks of its clock.
func (d *doctor) clock() { d.clockError(host.ClockError()) }

func (d *doctor) clockError(bound float64) {
	limit := selfwatch.Kinds[selfwatch.Index(selfwatch.ClockError)].Default.Limit
	switch {
	case bound != bound:
		d.look("clock", "the kernel does not say whether a time server sets it", "times in the record may be off", "see timedatectl")
	case bound > limit:
		d.look("clock", fmt.Sprintf("no time server has set it for long: it may be off by %.0f s", bound), "times in the record may be off, and those of several machines apart", "see timedatectl")
	default:
		d.ok("clock", "a time server sets it; it is right to %.2g s", max(bound, 0.001))
	}
}
