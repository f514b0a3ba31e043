package health

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Sentence says in one sentence what is the matter with the channel, empty if
// nothing is. People count rows and columns from 1, as alerts and pages do;
// channels have the numbers of the configuration, from 0.
func (f *Finding) Sentence() string {
	who := fmt.Sprintf("Channel %d", f.Channel)
	if f.Row >= 0 {
		who = fmt.Sprintf("The cell in row %d, column %d", f.Row+1, f.Column+1)
	}
	ago := lasting(f.At.Sub(f.Since))
	switch f.State {
	case Silent:
		return fmt.Sprintf("%s has delivered no reading for %s.", who, ago)
	case Dead:
		return fmt.Sprintf("%s has read %s for %s and has never answered, though what surrounds it moved %d times: %s.", who, number(f.Reading), ago, f.Trials, f.fate())
	case Stuck:
		return fmt.Sprintf("%s has read exactly %s for %s, though what surrounds it moved %d times: %s.", who, number(f.Reading), ago, f.Trials, f.fate())
	case Open:
		return fmt.Sprintf("%s has fallen to the lowest reading while those around it are under load, for %s: is its lead open or loose?", who, ago)
	case Saturated:
		return fmt.Sprintf("%s has been at the end of its range, %s, for %s: the load is at least that.", who, number(f.Reading), ago)
	case Noisy:
		return fmt.Sprintf("%s has scattered by at least %s from scan to scan for %s, those around it by %s.", who, short(f.Scatter), ago, short(f.Others))
	}
	return ""
}

// fate says what becomes of a reading that is not believed.
func (f *Finding) fate() string {
	if f.LeftOut {
		return "it is left out of the signals"
	}
	return "it stays in the signals, because a load may be behind so high a reading"
}

// Sentence says how many channels are what, empty if all are sound as far as is
// known.
func (r *Report) Sentence() string {
	noun := [2]string{"channel", "channels"}
	if r.Mat {
		noun = [2]string{"cell", "cells"}
	}
	var parts []string
	say := func(n int, words string) {
		if n == 0 {
			return
		}
		is := "are"
		if n == 1 {
			is = "is"
		}
		if len(parts) == 0 {
			all := noun[1]
			if r.Channels == 1 {
				all = noun[0]
			}
			parts = append(parts, fmt.Sprintf("%s of %s %s %s %s", thousands(n), thousands(r.Channels), all, is, words))
			return
		}
		parts = append(parts, fmt.Sprintf("%s %s %s", thousands(n), is, words))
	}
	say(r.Silent, "silent")
	say(r.Dead, "dead")
	say(r.Stuck, "stuck")
	say(r.Open, "open or loose")
	say(r.Saturated, "at the end of the range")
	say(r.Noisy, "noisy")
	if len(parts) == 0 {
		return ""
	}
	s := strings.Join(parts, ", ")
	for _, l := range []struct {
		name string
		at   []int
	}{{"row", r.Rows}, {"column", r.Columns}} {
		for _, i := range l.at {
			s += fmt.Sprintf(", %s %d does not answer at all", l.name, i+1)
		}
	}
	if r.LeftOut > 0 {
		s += fmt.Sprintf("; %s left out of the signals", thousands(r.LeftOut))
	}
	return s + "."
}

// lasting says how long something has lasted, with no more digits than matter.
func lasting(d time.Duration) string {
	switch m := int(d / time.Minute); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", max(0, int(d/time.Second)))
	case m < 120:
		return fmt.Sprintf("%d min", m)
	case m < 48*60:
		return fmt.Sprintf("%d h", m/60)
	default:
		return fmt.Sprintf("%d days", m/60/24)
	}
}

// number writes a reading as it was delivered.
func number(v float64) string {
	if v == float64(int(v)) {
		return thousands(int(v))
	}
	return strconv.FormatFloat(v, 'g', 5, 64)
}

// short writes an estimate: two digits.
func short(v float64) string {
	if v >= 100 {
		return thousands(int(v))
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// thousands groups digits: 2,048.
func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
