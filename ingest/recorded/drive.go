package recorded

import (
	"strconv"
	"strings"
	"testing"
	"time"
)

// Drive is one recording of somebody who drives a wheelchair, from its beginning on: what
// the six cells of each half of the seat sum up to, with the uneven clock that it has. It is
// played over again until it is 100 s long at least.
func Drive(t testing.TB, file string) (at []time.Duration, loads [][2]float64) {
	t.Helper()
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for line := range strings.Lines(string(Text(t, "seat-drives", file))) {
		words := strings.Split(strings.TrimSpace(line), ",")
		if len(words) != 14 || words[1] != "seat" {
			continue
		}
		var load [2]float64
		for i, w := range words[2:] {
			load[i/6] += number(w)
		}
		at, loads = append(at, time.Duration(number(words[0])*1e9)), append(loads, load)
	}
	once, first := len(at), at[0]
	for i := range at {
		at[i] -= first
	}
	length := at[once-1] + 90*time.Millisecond // which is the usual step
	for n := time.Duration(1); n*length < 100*time.Second; n++ {
		for i := range once {
			at, loads = append(at, at[i]+n*length), append(loads, loads[i])
		}
	}
	return at, loads
}
