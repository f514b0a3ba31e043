//go:build unix

// Package processor, for tests only, tells what the program has used of the processors.
package processor

import (
	"syscall"
	"testing"
	"time"
)

// Used is the time that this program has had of processors so far.
func Used(t testing.TB) time.Duration {
	t.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
