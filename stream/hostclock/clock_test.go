package hostclock

import (
	"context"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
)

func TestClockRunsAtItsSpeed(t *testing.T) {
	for _, speed := range []float64{0.5, 1, 60} {
		synctest.Test(t, func(t *testing.T) {
			c := New(speed)
			began := c.Now()
			time.Sleep(10 * time.Second)
			want := time.Duration(speed * float64(10*time.Second))
			if got := c.Now().Sub(began); got != want {
				t.Errorf("speed %v: 10 s of the host were %v, want %v", speed, got, want)
			}
		})
	}
}

func TestTimerFiresAtItsInstantAndNotBefore(t *testing.T) {
	for _, speed := range []float64{1, 7} {
		synctest.Test(t, func(t *testing.T) {
			c := New(speed)
			due := c.Now().Add(42 * time.Second)
			timer := c.NewTimer()
			timer.Reset(42 * time.Second)
			<-timer.C()
			if late := c.Now().Sub(due); late < 0 || late > time.Microsecond {
				t.Errorf("speed %v: fired %v after its instant", speed, late)
			}
		})
	}
}

func TestStoppedTimerStaysSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		timer := New(1).NewTimer()
		timer.Reset(time.Second)
		time.Sleep(2 * time.Second)
		timer.Stop()
		select {
		case <-timer.C():
			t.Error("a firing outlived Stop")
		default:
		}
	})
}

func TestWatchReportsStepsAndTheClockDoesNotFollow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := New(1)
		began := c.Now()
		var ahead atomic.Int64
		c.readWall = func() sample.Instant { return sample.At(time.Now()).Add(time.Duration(ahead.Load())) }

		var steps []time.Duration
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error)
		go func() {
			done <- c.Watch(ctx, time.Second, func(by, _ time.Duration) { steps = append(steps, by) })
		}()
		move := func(d time.Duration) {
			time.Sleep(1500 * time.Millisecond)
			ahead.Add(int64(d))
			time.Sleep(1500 * time.Millisecond)
		}
		move(time.Hour)
		move(-2 * time.Second) // no more than the limit: not a step
		move(-30 * time.Minute)
		stop()
		<-done

		if want := []time.Duration{time.Hour, -30 * time.Minute}; !slices.Equal(steps, want) {
			t.Errorf("steps %v, want %v", steps, want)
		}
		if got := c.Now().Sub(began); got != 9*time.Second {
			t.Errorf("9 s of the host were %v on a clock whose wall stepped", got)
		}
		if got, want := c.Off(), time.Duration(ahead.Load()); got != want {
			t.Errorf("off by %v, want %v", got, want)
		}
	})
}

func TestManualFiresWhenAdvanced(t *testing.T) {
	m := NewManual(0)
	timer := m.NewTimer()
	timer.Reset(3 * time.Second)
	m.Advance(3*time.Second - 1)
	select {
	case <-timer.C():
		t.Fatal("fired a nanosecond early")
	default:
	}
	m.Advance(1)
	select {
	case <-timer.C():
	default:
		t.Fatal("did not fire at its instant")
	}
	timer.Reset(0)
	timer.Stop()
	select {
	case <-timer.C():
		t.Fatal("a firing outlived Stop")
	default:
	}
}
