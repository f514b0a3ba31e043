package assembly

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A logger sends a row every 100 ms, over a way that takes 5 ms.
type logger struct {
	*rig
	now     time.Duration // since start
	fast    time.Duration // its clock, against the host's
	refused int
	why     string
}

func newLogger(t *testing.T) *logger {
	return &logger{rig: newRig(t, Config{Channels: 1, Unit: calib.MMHg, OwnTime: true, Live: true, Period: 100 * time.Millisecond})}
}

// row sends a row whose time is off the logger's clock and that comes late.
func (l *logger) row(off, late time.Duration) {
	arrival := start.Add(l.now + 5*time.Millisecond + late)
	f := frame.Frame{Kind: frame.Readings, Wall: start.Add(l.now + l.fast + off), Readings: []float64{1}}
	if bad := l.a.Frame(&f, arrival); bad != nil {
		l.refused++
		if l.why = bad.Error(); bad.Reason != frame.BadTime {
			l.t.Fatalf("a row was refused as %s", bad.Reason)
		}
	}
	l.now += 100 * time.Millisecond
}

func (l *logger) run(lasting time.Duration) {
	for end := l.now + lasting; l.now < end; {
		l.row(0, 0)
	}
}

// stands checks what was refused since the last call, the epochs, and how far
// the newest event time is from when the row was measured.
func (l *logger) stands(what string, refused, epochs int, off time.Duration) {
	l.t.Helper()
	if l.refused != refused {
		l.t.Errorf("%s: %d rows were refused, want %d (%s)", what, l.refused, refused, l.why)
	}
	if got := l.a.Stats().Epochs; got != epochs {
		l.t.Errorf("%s: %d epochs, want %d", what, got, epochs)
	}
	if got := l.got[len(l.got)-1].At.Sub(start.Add(l.now - 100*time.Millisecond)); (got - off).Abs() > 10*time.Millisecond {
		l.t.Errorf("%s: event times are off by %v, want %v", what, got, off)
	}
	l.refused = 0
}

// believed is how many rows at 10/s make 2 s, less the one that is believed.
const believed = 20

func TestOneRowThatLeaps(t *testing.T) {
	l := newLogger(t)
	l.run(10 * time.Second)
	l.row(24*time.Hour, 0)
	if want := "24h0m0s ahead of what it should be"; !strings.Contains(l.why, want) {
		t.Errorf("refused for %q, want %q in it", l.why, want)
	}
	l.run(time.Second)
	l.stands("a row from tomorrow", 1, 1, 0)
	l.row(-time.Hour, 0)
	if want := "1h0m0s behind what it should be"; !strings.Contains(l.why, want) {
		t.Errorf("refused for %q, want %q in it", l.why, want)
	}
	l.run(time.Second)
	l.stands("a row of an hour ago", 1, 1, 0)
	for range 100 {
		l.row(time.Hour, 0)
		l.row(0, 0)
	}
	l.stands("every other row", 100, 1, 0)
	l.row(-time.Second, 0)
	l.stands("a second back is late and no more", 0, 1, -time.Second)
	l.counted("late", lateOnes, 1)
	l.counted("scans and refusals make all rows", scans, 10*10+10+10+100+1)
}

func TestTheClockIsSet(t *testing.T) {
	const year = 365 * 24 * time.Hour
	l := newLogger(t)
	l.run(time.Minute)
	set := func(by time.Duration) {
		l.fast += by
		l.run(time.Minute)
	}
	set(-time.Hour)
	l.stands("an hour back", believed, 2, 0)
	if got := l.a.Stats().Leap; !got.Undone || (got.By+time.Hour).Abs() > time.Second || got.At.Sub(start) > 63*time.Second {
		t.Errorf("the leap is told as %+v", got)
	}
	set(time.Hour)
	l.stands("and forward again", believed, 3, 0)
	if got := l.a.Stats(); got.Leap.Undone || (got.Offset-5*time.Millisecond).Abs() > time.Millisecond {
		t.Errorf("the leap is told as %+v and the rows' clock as %v slow", got.Leap, got.Offset)
	}
	set(24 * time.Hour)
	l.stands("a day ahead", believed, 4, 0)
	set(-24 * time.Hour)
	l.stands("and back", believed, 5, 0)
	set(-50 * year)
	l.stands("to where a logger begins without its battery", believed, 6, 0)
	last := sample.Past
	for _, s := range l.got {
		if s.At < last {
			t.Fatalf("a scan at %v follows one at %v", s.At, last)
		}
		last = s.At
	}
	l.counted("late", lateOnes, 0)
}

// A logger that begins in the past is believed at once, as its rows may have
// been delayed, and one that begins in the future when it insists. The past is
// left as soon as rows come from the present; the future is not, as what was
// judged cannot be judged again.
func TestAClockThatIsWrongAtTheStart(t *testing.T) {
	l := newLogger(t)
	l.fast = -10 * time.Hour
	l.run(time.Minute)
	l.stands("slow", 0, 1, -10*time.Hour)
	l.fast = 0
	l.run(time.Minute)
	l.stands("set right", 0, 1, 0)

	l = newLogger(t)
	l.fast = time.Hour
	l.run(time.Minute)
	l.stands("fast", believed, 1, time.Hour)
	if leap := l.a.Stats().Leap; leap.At != sample.Past {
		t.Errorf("the beginning is told as a leap: %+v", leap)
	}
	l.fast = 0
	l.run(time.Minute)
	l.stands("set right", believed, 2, time.Hour)

	l = newLogger(t)
	l.row(24*time.Hour, 0)
	l.run(time.Minute)
	l.stands("only the first row is from the future", 1, 1, 0)
	l.row(-100*365*24*time.Hour, 0)
	l.stands("a row from nowhere", 1, 1, -100*time.Millisecond)
}

// Rows that were delayed are not taken for a clock that was set.
func TestDelayedRows(t *testing.T) {
	l := newLogger(t)
	l.run(time.Minute)
	for i := range 600 { // a minute, all of it delivered at its end
		l.row(0, time.Duration(600-i)*100*time.Millisecond)
	}
	l.run(time.Minute)
	l.stands("a minute held back", 0, 1, 0)
	for i := range 3000 { // drained at 1.2 times the pace
		l.row(0, max(0, 50*time.Second-time.Duration(i)*100*time.Millisecond/6))
	}
	l.stands("50 s behind, and catching up", 0, 1, 0)
	l.now += 30 * time.Minute
	l.run(time.Minute)
	l.stands("after a silence", 0, 1, 0)
	l.counted("late", lateOnes, 0)
}

// An hour set back in a silence of two shows as rows that stay late.
func TestTheClockIsSetBackInASilence(t *testing.T) {
	l := newLogger(t)
	l.run(time.Minute)
	l.now += 2 * time.Hour
	l.fast = -time.Hour
	l.run(time.Minute)
	l.stands("an hour back", 0, 2, 0)
	if got := l.a.Stats().Leap; !got.Undone || (got.By+time.Hour).Abs() > time.Second {
		t.Errorf("the leap is told as %+v", got)
	}
	l.counted("late", lateOnes, 0)
}

// A clock that runs 500 ppm slow or fast is followed for a day, over silences
// too, without an epoch.
func TestAClockThatDrifts(t *testing.T) {
	for _, ppm := range []int64{-500, 500} {
		l := newLogger(t)
		for i := range 24 * 60 {
			if l.now += time.Minute - time.Second; i == 700 {
				l.now += 6 * time.Hour
			}
			for range 10 {
				l.fast = l.now * time.Duration(ppm) / 1_000_000
				l.row(0, 0)
			}
		}
		l.stands("drift", 0, 1, l.fast)
	}
}

func TestRowsMoveWithTheHost(t *testing.T) {
	l := newLogger(t)
	l.run(time.Minute)
	l.a.Step(time.Hour)
	l.now, l.fast = l.now+time.Hour, -time.Hour
	l.run(time.Minute)
	l.stands("the host an hour ahead", 0, 1, -time.Hour)
}

// Recordings keep their times, whatever these do.
func TestRecordedRowsKeepTheirTimes(t *testing.T) {
	l := newLogger(t)
	l.a.config.Live = false
	for i := range 100 {
		l.row(time.Duration(i%3-1)*time.Hour, 0)
	}
	if l.refused > 0 || len(l.got) != 100 || l.a.Stats().Epochs != 0 {
		t.Errorf("%d rows were refused, %d passed on, %d epochs", l.refused, len(l.got), l.a.Stats().Epochs)
	}
}

// Whatever a logger's clock has been set to, and however its rows are delayed:
// event times never go back by more than clock.Jump, those that do at all are
// counted as late, and once the clock has run for half a minute rows are passed
// on in time with their arrival again.
func TestRowClockAlways(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := newLogger(t)
		length := func(name string, most time.Duration) time.Duration {
			return time.Duration(rapid.Int64Range(0, int64(most)).Draw(rt, name))
		}
		for range rapid.IntRange(1, 8).Draw(rt, "events") {
			switch rapid.IntRange(0, 4).Draw(rt, "event") {
			case 0:
				l.fast = length("set", 200*time.Hour) - 100*time.Hour
			case 1:
				l.fast = 0
			case 2:
				l.now += length("silence", 10*time.Hour)
			case 3:
				for _, h := range rapid.SliceOfN(rapid.IntRange(-30, 30), 1, 12).Draw(rt, "hours") {
					l.row(time.Duration(h)*time.Hour, 0)
				}
			case 4:
				n := rapid.IntRange(1, 300).Draw(rt, "held back")
				for i := range n {
					l.row(0, time.Duration(n-i)*100*time.Millisecond)
				}
			}
			l.run(length("run", time.Minute))
		}
		l.run(30 * time.Second)
		before, from := len(l.got), l.now
		l.run(10 * time.Second)
		if got := len(l.got) - before; got != 100 {
			rt.Fatalf("%d rows of 100 were passed on in the end (%s)", got, l.why)
		}
		if took := l.got[len(l.got)-1].At.Sub(l.got[before].At); took != l.now-from-100*time.Millisecond {
			rt.Fatalf("in the end 9.9 s of rows took %v", took)
		}
		newest, lateRows := sample.Past, uint64(0)
		for _, s := range l.got {
			if s.At < newest {
				lateRows++
			}
			if s.At < newest.Add(-2*time.Second) {
				rt.Fatalf("a row at %v was passed on after one at %v", s.At, newest)
			}
			newest = max(newest, s.At)
		}
		if got := l.a.Stats().Late; got != lateRows {
			rt.Fatalf("%d rows are counted as late, %d are", got, lateRows)
		}
	})
}
