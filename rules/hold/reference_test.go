package hold_test

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// The reference steps in milliseconds and follows the table of the package
// comment word by word. It shares no code with the package.

type reading struct {
	at    int // ms
	value float64
}

type settings struct {
	kind                      string // above, below
	limit, deadband           float64
	on, off, resets, forget   int // ms
	stale                     int // ms
	gateFrom, gateTo, endTime int // the gate is closed in [gateFrom, gateTo); the run ends at endTime
}

type happening struct {
	what string
	at   int // ms
}

// reference returns what happens up to and including endTime.
func reference(readings []reading, s settings) (out []happening) {
	inside := false // the enter/stay memory
	raised := false
	held, released, off, silent := 0, 0, 0, 0
	next := 0
	lastAt, value := math.MinInt, math.NaN()
	beyond := func(v float64) bool {
		if s.kind == "below" {
			return v < s.limit || inside && v < s.limit+s.deadband
		}
		return v > s.limit || inside && v > s.limit-s.deadband
	}
	for now := 0; ; now++ {
		for next < len(readings) && readings[next].at == now {
			lastAt, value = now, readings[next].value
			if !math.IsNaN(value) {
				inside = beyond(value)
			}
			next++
		}
		known := !math.IsNaN(value) && now < lastAt+s.stale
		open := now < s.gateFrom || now >= s.gateTo
		// Delays of zero, and delays that the last millisecond reached.
		if open && known && inside && !raised && held >= s.on {
			raised, off = true, 0
			out = append(out, happening{"raised", now})
		}
		if open && known && !inside && raised && off >= s.off {
			raised, held, released = false, 0, 0
			out = append(out, happening{"cleared", now})
		}
		if now == s.endTime {
			return out
		}
		if !open {
			continue
		}
		switch {
		case !known:
			if silent++; !raised && silent >= s.forget {
				held, released = 0, 0
			}
		case inside:
			silent, released, off = 0, 0, 0
			held++
		default:
			silent = 0
			if raised {
				off++
			} else if held > 0 {
				if released++; released >= s.resets {
					held, released = 0, 0
				}
			}
		}
		// A delay reached exactly at the end of an interval has been reached,
		// whatever the reading there says.
		if known && inside && !raised && held >= s.on {
			raised, off = true, 0
			out = append(out, happening{"raised", now + 1})
		}
		if known && !inside && raised && off >= s.off {
			raised, held, released = false, 0, 0
			out = append(out, happening{"cleared", now + 1})
		}
	}
}

// viaState runs the same through a Band and a State, from breakpoint to
// breakpoint.
func viaState(readings []reading, s settings) (out []happening) {
	band := hold.Above(s.limit, s.deadband)
	if s.kind == "below" {
		band = hold.Below(s.limit, s.deadband)
	}
	spec := s.spec()
	var h hold.State
	var mem hold.Memory
	cond, open := sample.Maybe, s.gateFrom > 0 || s.gateTo <= 0
	now := 0
	step := func(to int) {
		if open {
			change, at := h.Advance(&spec, ms(to-now), cond)
			if change != hold.None {
				out = append(out, happening{[]string{"", "raised", "cleared"}[change], now + int(at/time.Millisecond)})
			}
		}
		now = to
	}
	for _, b := range breakpoints(readings, s) {
		step(b.at)
		switch b.what {
		case "reading":
			cond, mem = band.Judge(b.value, mem)
		case "stale":
			cond = sample.Maybe
		case "close":
			open = false
		case "open":
			open = true
		}
		step(b.at)
	}
	return out
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

func (s settings) spec() hold.Spec {
	return hold.Spec{OnDelay: ms(s.on), OffDelay: ms(s.off), ResetsAfter: ms(s.resets), ForgetAfter: ms(s.forget)}
}
