package health

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// No load that lasts is ever taken from the signals: whatever the neighbours
// do, whether they come and go, stand still, or are not there, and whether the
// load sits at the rail, at a rail that nobody has told of, creeps, trembles or
// does not change by a single count, for a day.
func TestNoLoadIsWithheld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const rows, columns = 6, 6
		c := Config{Channels: rows * columns, Rows: rows, Columns: columns}
		c.Falling = rapid.Bool().Draw(t, "falling")
		m, err := New(c)
		if err != nil {
			t.Fatal(err)
		}
		var (
			loaded  = rapid.SliceOfNDistinct(rapid.IntRange(0, rows*columns-1), 1, 6, rapid.ID).Draw(t, "loaded")
			level   = rapid.SampledFrom([]float64{800, 2000, 4095}).Draw(t, "level")
			tremble = rapid.SampledFrom([]int{1, 1, 2, 30}).Draw(t, "tremble")
			creep   = rapid.SampledFrom([]float64{0, 0, 0.0001}).Draw(t, "creep")
			turns   = rapid.IntRange(20, 400).Draw(t, "turns")
			others  = rapid.SampledFrom([]float64{0, 100, 600}).Draw(t, "others")
			rail    = rapid.SampledFrom([]float64{0, 4095}).Draw(t, "rail")
			begins  = rapid.IntRange(0, 4000).Draw(t, "begins")
			every   = rapid.SampledFrom([]time.Duration{time.Second, 5 * time.Second}).Draw(t, "every")
		)
		raw, values := make([]float64, rows*columns), make([]float64, rows*columns)
		at := sample.Instant(0)
		for n := range 8000 {
			for i := range raw {
				raw[i] = float64(n / turns % 4 * int(others))
			}
			if n >= begins {
				for _, i := range loaded {
					raw[i] = min(4095, math.Floor(level*(1+creep*float64(n-begins))+float64(n*7%tremble)))
				}
			}
			if c.Falling {
				for i := range raw {
					raw[i] = 4095 - raw[i]
				}
			}
			copy(values, raw)
			at = at.Add(every)
			m.Scan(at, raw, rail)
			m.Withhold(raw, values)
			if n < begins {
				continue
			}
			// Where the others go up to 1,800, 800 is not far above the rest;
			// but nothing above 128 is ever near the lowest of them.
			for _, i := range loaded {
				if values[i] != raw[i] {
					t.Fatalf("scan %d: the load of %v on cell %d is withheld", n, raw[i], i)
				}
			}
		}
	})
}

// Whatever is delivered: the states add up, what is withheld is exactly what a
// channel is stuck at and no more than a swing above the lowest that any of its
// neighbours has read, nothing is invented, and since is never later than now.
func TestAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 5).Draw(t, "rows"), rapid.IntRange(1, 5).Draw(t, "columns")
		n := rows*columns + rapid.IntRange(0, 4).Draw(t, "more")
		var group []int
		for i := rows * columns; i < n; i++ {
			group = append(group, i)
		}
		m, err := New(Config{Channels: n, Rows: rows, Columns: columns, Together: [][]int{group}})
		if err != nil {
			t.Fatal(err)
		}
		raw, values := make([]float64, n), make([]float64, n)
		lowest := math.Inf(1)
		var report Report
		at := sample.Instant(0)
		for range rapid.IntRange(1, 30).Draw(t, "stretches") {
			// A stretch of scans in which each channel does one thing.
			does := rapid.SliceOfN(rapid.SampledFrom([]string{"rests", "swings", "swings", "swings", "missing", "noise", "rail", "high"}), n, n).Draw(t, "do")
			scans := rapid.IntRange(1, 300).Draw(t, "scans")
			every := rapid.SampledFrom([]time.Duration{10 * time.Millisecond, time.Second, 10 * time.Second}).Draw(t, "every")
			for s := range scans {
				for i, what := range does {
					switch what {
					case "rests":
						raw[i] = 0
					case "swings":
						raw[i] = float64(s / 20 % 3 * 500)
					case "missing":
						raw[i] = nan
					case "noise":
						raw[i] = float64(s * 7919 % 1000)
					case "rail":
						raw[i] = 4095
					case "high":
						raw[i] = 3000
					}
					if raw[i] < lowest {
						lowest = raw[i]
					}
				}
				at = at.Add(every)
				m.Scan(at, raw, 4095)
				copy(values, raw)
				left := m.Withhold(raw, values)
				for i := range values {
					if values[i] == raw[i] || raw[i] != raw[i] {
						continue
					}
					left--
					if s, _ := m.State(i); s != Dead && s != Stuck && s != Silent {
						t.Fatalf("%v: %v of channel %d is withheld, which is %v", at, raw[i], i, s)
					}
					if raw[i] > lowest+4095./swingShare || raw[i] >= 3000 {
						t.Fatalf("%v: %v of channel %d is withheld; the lowest was %v", at, raw[i], i, lowest)
					}
				}
				if left != 0 {
					t.Fatalf("%d values more are said to be withheld than are", left)
				}
			}
			m.Report(&report)
			if got := report.Silent + report.Dead + report.Stuck + report.Open + report.Saturated + report.Noisy; got != len(report.Findings) {
				t.Fatalf("%+v: %d channels are counted, %d found", report, got, len(report.Findings))
			}
			if (report.Sentence() == "") != (len(report.Findings) == 0) {
				t.Fatalf("%d findings and the sentence %q", len(report.Findings), report.Sentence())
			}
			for _, f := range report.Findings {
				if f.Since > at || f.State == Sound || f.Sentence() == "" {
					t.Fatalf("%+v at %v", f, at)
				}
				if f.LeftOut && f.State != Dead && f.State != Stuck && f.State != Silent {
					t.Fatalf("%+v is left out", f)
				}
			}
			if report.LeftOut > report.Dead+report.Stuck+report.Silent {
				t.Fatalf("%+v", report)
			}
		}
	})
}

// Every fault mends itself: after anything at all, a day of a sound source with
// a body that turns leaves every channel sound.
func TestEveryFaultMends(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, err := New(Config{Channels: 16, Rows: 4, Columns: 4})
		if err != nil {
			t.Fatal(err)
		}
		raw := make([]float64, 16)
		at := sample.Instant(0)
		play := func(n int, reading func(n, i int) float64) {
			for s := range n {
				for i := range raw {
					raw[i] = reading(s, i)
				}
				at = at.Add(time.Second)
				m.Scan(at, raw, 4095)
			}
		}
		sound := func(n, i int) float64 { return float64(i*10 + n/50%5*300 + (n+i)*7%3) }
		bad := rapid.SliceOfN(rapid.IntRange(0, 15), 1, 5).Draw(t, "bad")
		kind := rapid.SampledFrom([]float64{0, nan, 4095, 700, -1}).Draw(t, "reads")
		play(rapid.IntRange(0, 3000).Draw(t, "before"), sound)
		play(3000, func(n, i int) float64 {
			for _, j := range bad {
				if i == j {
					if kind == -1 {
						return float64(n * 7919 % 4000)
					}
					return kind
				}
			}
			return sound(n, i)
		})
		play(12000, sound)
		for i := range 16 {
			if s, since := m.State(i); s != Sound {
				t.Fatalf("channel %d is still %v since %v", i, s, since)
			}
		}
		if len(m.held) > 0 {
			t.Fatalf("%v are still left out", m.held)
		}
	})
}
