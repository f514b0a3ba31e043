package rules_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// tell plays a timeline of one source: lines such as
//
//	10s..19s 400 512w -
//
// have a scan for every second from one to the other, with a reading a channel: in
// counts, of which ten are a mmHg, "-" for none, and behind it what is so: u no
// calibration, x extrapolated, e expired, w withheld, d doubled every other second.
// A reading at 4095 is at the rail. "lost n" has n frames lost before each scan,
// "late n" has it arrive n seconds late. Lines that begin with "=" are what must
// happen, ~ what is said then. "battery n" has a scan carry that level.
func tell(t *testing.T, s *story, timeline string) {
	t.Helper()
	seq := uint32(0)
	for line := range strings.Lines(timeline) {
		fields := strings.Fields(line)
		switch {
		case len(fields) == 0 || strings.HasPrefix(fields[0], "#"):
		case fields[0] == "=":
			s.expect(t, strings.Join(fields[1:], " "))
		case fields[0] == "~":
			s.says(t, strings.Join(fields[1:], " "))
		default:
			if len(s.lines) > 0 {
				t.Errorf("before %q: %q", strings.TrimSpace(line), s.lines)
				s.lines = nil
			}
			span := strings.Split(fields[0], "..")
			from, _ := time.ParseDuration(span[0])
			to, _ := time.ParseDuration(span[len(span)-1])
			for at := from; at <= to; at += time.Second {
				x := scanOf(t, at, fields[1:], &seq)
				s.Scan(x)
			}
		}
	}
	s.expect(t)
}

func scanOf(t *testing.T, at time.Duration, fields []string, seq *uint32) *sample.Scan {
	t.Helper()
	x := &sample.Scan{At: sample.Instant(at), Arrived: sample.Instant(at), Rail: 4095}
	*seq++
	for i := 0; i < len(fields); i++ {
		f := fields[i]
		if f == "lost" || f == "late" || f == "battery" {
			n, err := strconv.ParseFloat(fields[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			switch i++; f {
			case "lost":
				*seq += uint32(n)
			case "late":
				x.Arrived = x.Arrived.Add(time.Duration(n * 1e9))
			case "battery":
				x.Battery = sample.ChargeOf(int(n))
			}
			continue
		}
		x.U, x.Shared, x.Extrapolated = append(x.U, 1), append(x.Shared, 0), append(x.Extrapolated, strings.Contains(f, "x"))
		if strings.Contains(f, "e") && x.Expired == nil {
			x.Expired = make([]bool, len(fields))
		}
		channel := len(x.Raw)
		raw, err := strconv.ParseFloat(strings.TrimRight(f, "uxewd"), 64)
		if err != nil {
			raw = sample.Unknown
		}
		if strings.Contains(f, "d") && at/time.Second%2 == 1 {
			raw *= 2
		}
		v := raw / 10
		if raw >= x.Rail || strings.ContainsAny(f, "uw") {
			v = sample.Unknown
		}
		if strings.Contains(f, "w") {
			x.Withheld = append(x.Withheld, channel)
		}
		if strings.Contains(f, "e") {
			x.Expired[channel] = true
		}
		x.Raw, x.Values = append(x.Raw, raw), append(x.Values, v)
	}
	x.Seq, x.First = *seq, *seq
	return x
}

// Every fault of a channel and of a source, when it is raised and cleared, and what
// is said of it. The rule waits for 5 s; a channel that does not change for 20 s has
// reason to be looked at.
func TestQualityTimelines(t *testing.T) {
	for name, c := range map[string]struct {
		of       rules.Fault
		timeline string
	}{
		"uncalibrated": {rules.Uncalibrated, `
			0s..9s   400 410u 420
			= 5s raised bench-1~sensor~ankle
			~ ankle with a faulty channel for 5 s: a/leg/1 is not calibrated when raised
			10s..12s 400 410 420
			= 10s cleared bench-1~sensor~ankle
			13s..30s 400 - 420
			31s..50s 400 410w 4095`},
		"saturated": {rules.Saturated, `
			0s..3s   400 4095 420
			4s       400 4000 420
			5s..11s  400 4095 420
			= 10s raised bench-1~sensor~ankle
			~ a/leg/1 is at the end of what it can read`},
		"missing": {rules.Missing, `
			0s..6s   400 410w 420
			= 5s raised bench-1~sensor~ankle
			~ a/leg/1 has no value`},
		"expired": {rules.Expired, `
			0s..6s   400e 410 420
			= 5s raised bench-1~sensor~ankle
			~ a/leg/0 is past the date of its calibration
			7s       400 410 420
			= 7s cleared bench-1~sensor~ankle`},
		"extrapolated": {rules.Extrapolated, `
			# below 5 mmHg nothing is measured
			0s..20s  400 410 20x
			21s..27s 400 410 980x
			= 26s raised bench-1~sensor~ankle
			~ a/leg/2 measures outside of what it was calibrated for`},
		"stuck": {rules.Stuck, `
			# the others move by less than 5 mmHg, then by more
			0s..19s  400 410 404
			20s..39s 300 410 300
			20s..39s 300d 410 300d
			40s..46s 300d 410 300d
			= 45s raised bench-1~sensor~ankle
			~ a/leg/1 is stuck: it has not changed for 20 s while the others did
			47s..90s 300 410 300
			91s      300 411 300
			= 1m31s cleared bench-1~sensor~ankle`},
		"stuck is not late": {rules.Stuck, `
			# a hole of more than 3 s begins anew
			0s..14s  300d 410 300d
			20s..38s 300d 410 300d
			39s..44s 300d 411 300d`},
		"open": {rules.Open, `
			# what reads its lowest while nothing is loaded is at rest
			0s..39s  7 7 9d
			40s..59s 400d 7 400d
			60s..79s 400d 7 400d
			= 1m5s raised bench-1~sensor~ankle
			~ a/leg/1 seems to have an open lead: it has read its lowest for 20 s while the others were loaded
			80s..81s 400 300 400
			= 1m20s cleared bench-1~sensor~ankle`},
		"what is loaded is not open": {rules.Open, `
			0s..60s  400 300 400`},
		"one reading does not stand still": {rules.Stuck, `
			0s       300d 410 300d
			1s..46s  300d - 300d`},
		"loss": {rules.Lossy, `
			0s..20s  400 410 420
			21s..29s 400 410 420 lost 1
			= 28s raised bench-1~sensor~ankle
			~ a/leg loses 20 % of its frames`},
		"clock": {rules.Clock, `
			0s..20s  400 410 420 late 0.1
			21s..59s 400 410 420 late 3
			60s..119s 400 410 420 late 3
			120s..125s 400 410 420 late 3
			= 2m5s raised bench-1~sensor~ankle
			~ a/leg has a clock that is 3 s behind
			126s     400 410 420
			= 2m6s cleared bench-1~sensor~ankle`},
		"battery": {rules.Battery, `
			# unknown is not empty
			0s..20s  400 410 420
			21s..30s 400 410 420 battery 16
			31s..34s 400 410 420 battery 15
			35s      400 410 420 battery 16
			36s..38s 400 410 420 battery 15
			# a level lasts until another one is told
			39s..42s 400 410 420
			= 41s raised bench-1~sensor~ankle
			~ ankle with a faulty source for 5 s: a/leg has a battery at 15 % when raised
			43s..60s 400 410 420
			61s      400 410 420 battery 90
			= 1m1s cleared bench-1~sensor~ankle
			62s..90s 400 410 420
			91s..97s 400 410 420 battery 0
			= 1m36s raised bench-1~sensor~ankle
			~ a/leg has a battery at 0 %`},
	} {
		t.Run(name, func(t *testing.T) { tell(t, newStory(t, cluster(3, nil, faulty(c.of))), c.timeline) })
	}
}

// Of the cells of a mat a quarter must have a fault, here three of twelve; the
// sentence counts them by what they have.
func TestQualityOfAMat(t *testing.T) {
	rule := faulty(rules.Faults...)
	tell(t, newStory(t, wall(rule)), `
		0s..9s   400 - 400 400 400d 410d 400 4095 400 400 400 400
		10s..16s 400 - 400 400 400d 410d 400 4095 400 400 980x 400
		= 15s raised bed-1~sensor~mat
		~ mat with a faulty channel for 5 s: 3 of 12 cells: 1 at the end of what they can read, 1 without a value, 1 extrapolated when raised
		17s      400 - 400 400 400d 410d 400 4095 400 400 400 400
		= 17s cleared bed-1~sensor~mat`)
	tell(t, newStory(t, wall(rule)), `
		# of the four cells that do not change one has but one of three neighbours that does
		0s..19s  400d 400 400d 400d 400d 400d 400 400d 400d 400d 400 400
		20s..26s 400d 400 400d 400d 400d 400d 400 400d 400d 400d 400 400
		= 25s raised bed-1~sensor~mat
		~ 3 of 12 cells: 3 stuck`)
	silent := newStory(t, wall(rule))
	silent.scan(0, 0, repeat(40, 12)...)
	for range 20 {
		silent.Tick(silent.Next())
	}
	silent.expect(t, "8s raised bed-1~sensor~mat")
	silent.says(t, "12 of 12 cells: 12 silent")
}

func TestQualityIsChecked(t *testing.T) {
	for what, spoil := range map[string]func(*rules.Quality){
		"of": func(q *rules.Quality) { q.Of = nil }, "unchanged": func(q *rules.Quality) { q.Unchanged = 0 },
		"share": func(q *rules.Quality) { q.Share = math.NaN() }, "loss": func(q *rules.Quality) { q.Loss = 1 },
		"clock": func(q *rules.Quality) { q.Clock = -1 }, "battery": func(q *rules.Quality) { q.Battery = 0 },
	} {
		rule := faulty(rules.Faults...)
		spoil(rule.Quality)
		problems := cluster(3, nil, rule).Check()
		if len(problems) != 1 || !strings.HasPrefix(problems[0].Message, what+" is") {
			t.Errorf("%s: %v", what, problems)
		}
	}
}
