package ingest

import (
	"strings"
	"testing"
	"time"
)

// logged checks how often the log has each of the words.
func (r *rig) logged(when string, want map[string]int) {
	r.t.Helper()
	for words, n := range want {
		if got := strings.Count(r.log.String(), words); got != n {
			r.t.Errorf("%s %q is logged %d times, want %d:\n%s", when, words, got, n, r.log.String())
		}
	}
}

// A bridge that is stopped while it is in trouble has not become well.
func TestAStoppedBridgeIsNotCalledWell(t *testing.T) {
	var last *rig
	bubble(t, twoLegs, func(r *rig) {
		last = r
		r.line(0, 40, 20)
		r.pass(10 * time.Second)
	})
	last.logged("after the end", map[string]int{"bridge is in trouble": 1, "bridge is well": 0, "source is well": 0})
}

func TestATroubleOfASourceIsLoggedOnce(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 10 {
			r.line(0, 40, 20)
			r.line(1, 40, 20)
		}
		r.logged("at first", map[string]int{"source is in trouble": 0})
		for range 300 { // of silence, whose words count the seconds
			r.line(0, 40, 20)
		}
		r.logged("while one is silent", map[string]int{`"nothing from it for`: 1, "bridge is in trouble": 0})
		r.logged("while one is silent", map[string]int{"source=trolley/right": 1, "source is well": 0})
		r.link.hangUp()
		r.pass(2 * time.Second)
		r.line(0, 40, 20)
		r.logged("when the link is there again", map[string]int{"source is well": 0})
		for range 30 {
			r.line(1, 40, 20)
		}
		r.logged("when it sends again", map[string]int{"source is well": 1})
	})
}
