package view

import (
	"encoding/json"
	"regexp"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// What has lasted is said with three decimals at most, and never as more than it is: a hold of
// 9.9999 s is not over yet.
func TestWhatLastedIsCutToMilliseconds(t *testing.T) {
	said := regexp.MustCompile(`"held_s":([0-9]+(\.[0-9]{1,3})?),`)
	b := New(plan(), nil, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		held := time.Duration(rapid.Int64Range(0, int64(1000*time.Hour)).Draw(t, "held"))
		p := hold("tight", "ankle", "ankle.pressure", sample.Yes, held, 30*time.Second)
		out, err := json.Marshal(b.newHold(&p))
		if err != nil {
			t.Fatal(err)
		}
		m := said.FindSubmatch(out)
		if m == nil {
			t.Fatalf("%v is said as %s", held, out)
		}
		s, err := strconv.ParseFloat(string(m[1]), 64)
		if off := held.Seconds() - s; err != nil || off < -1e-9 || off > 1e-3+1e-9 {
			t.Fatalf("%v is said as %s", held, m[1])
		}
	})
}
