package emulate

import (
	"io"
	"math"
	"testing"
	"time"
)

// A sensor that fails loses channels, then scans, which its numbers tell, then itself.
func TestFailing(t *testing.T) {
	f := &Failing{
		Sampled: NewSampled(7, 6, 2, ramp{}, exact, 1),
		First:   2, End: 4, Loose: 3 * time.Second, Losing: 6 * time.Second, Silent: 12 * time.Second,
	}
	var scan Scan
	sent, lost := 0, 0
	for {
		err := f.Next(&scan)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		sent++
		lost += scan.Lost
		for i, v := range scan.Values {
			if loose := scan.At >= 3*time.Second && i >= 2 && i < 4; loose != math.IsNaN(v) {
				t.Fatalf("at %v channel %d reads %v", scan.At, i, v)
			}
		}
		if lost > 0 && scan.At < 6*time.Second {
			t.Fatalf("a scan before %v was lost", scan.At)
		}
	}
	// 24 scans in 12 s; of the 12 of the last 6 s every third, which are numbers 12, 15, 18 and 21.
	if sent != 20 || lost != 4 {
		t.Errorf("%d scans came and %d were lost, want 20 and 4", sent, lost)
	}
}
