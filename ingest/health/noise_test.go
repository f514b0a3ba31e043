package health

import (
	"math/rand/v2"
	"testing"
	"time"
)

func TestNoisy(t *testing.T) {
	scatter := func(seed uint64, of func(i int) float64) func(n, i int) float64 {
		r := rand.New(rand.NewPCG(seed, 9))
		return func(n, i int) float64 { return 1000 + float64(int(r.NormFloat64()*of(i))) }
	}
	config := Config{Channels: 4, Together: [][]int{{0, 1, 2, 3}}}
	quiet := func(i int) float64 { return 1.5 }
	one := func(i int) float64 {
		if i == 3 {
			return 60
		}
		return 1.5
	}
	r := newRig(t, config, 100*time.Millisecond)
	r.run(time.Hour, scatter(1, quiet))
	r.wants("quiet", nil)
	r.run(20*time.Minute, scatter(2, one))
	r.wants("one scatters", map[int]State{3: Noisy})
	if f := r.finding(3); f.Scatter < 30 || f.Scatter > 90 || f.Others > 5 || f.LeftOut {
		t.Errorf("%+v, want a scatter of about 60 against 1.5, kept", f)
	}
	r.run(20*time.Minute, scatter(3, quiet))
	r.wants("quiet again", nil)
	r.run(time.Hour, scatter(4, func(int) float64 { return 60 }))
	r.wants("all scatter: somebody walks", nil)

	r = newRig(t, config, 100*time.Millisecond)
	r.run(20*time.Minute, scatter(5, one))
	r.wants("from the first scan on", map[int]State{3: Noisy})

	r = newRig(t, config, 100*time.Millisecond)
	r.run(3*time.Hour, scatter(8, func(i int) float64 {
		if i == 3 {
			return 24
		}
		return 3
	}))
	r.wants("eight times the others, as it has always been", nil)

	r = newRig(t, Config{Channels: 1}, 100*time.Millisecond)
	r.run(time.Hour, scatter(6, quiet))
	r.run(time.Hour, scatter(7, func(int) float64 { return 60 }))
	r.wants("one alone, with nobody to compare it with", nil)
}

// One wild reading is no noise, on whichever scan of a look it falls.
func TestOneSpikeIsNoNoise(t *testing.T) {
	for phase := range 3 {
		r := newRig(t, Config{Channels: 4, Together: [][]int{{0, 1, 2, 3}}}, 10*time.Second)
		quiet := func(n, i int) float64 { return 1000 + float64((n*7+i)%3) }
		r.run(3*time.Hour, quiet)
		r.run(time.Hour, func(n, i int) float64 {
			if i == 2 && n == phase {
				return 4000
			}
			if got, since := r.m.State(2); got != Sound {
				t.Fatalf("%v since %v after one wild reading", got, since)
			}
			return quiet(n, i)
		})
	}
}

// A movement that the scan rate follows is no noise, however large.
func TestMovementIsNotNoise(t *testing.T) {
	r := newRig(t, Config{Channels: 3}, 100*time.Millisecond)
	still := func(n, i int) float64 { return 1000 + float64((n*7+i)%3) }
	r.run(time.Hour, still)
	r.run(time.Hour, func(n, i int) float64 {
		if i == 0 {
			return float64(max(n%200-100, 100-n%200) * 20)
		}
		return still(n, i)
	})
	r.wants("one swings by 2,000 counts every 20 s", nil)
}
