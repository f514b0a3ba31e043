package report_test

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/stream/report/paper"
)

// drive reads one recording of somebody who drives a wheelchair: the mean counts of
// the left and the right half of the seat, taken as mmHg by an invented calibration.
// It is played over again until it is long enough.
func drive(t *testing.T, file string) (at []time.Duration, loads [][2]float64) {
	t.Helper()
	root := os.Getenv("WEALD_DATA")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared", "data")
	}
	text, err := os.ReadFile(filepath.Join(root, "seat-drives", file))
	if err != nil {
		t.Skipf("recordings of drives not found: %v", err)
	}
	for line := range strings.Lines(string(text)) {
		words := strings.Split(strings.TrimSpace(line), ",")
		if len(words) != 14 || words[1] != "seat" {
			continue
		}
		seconds, err := strconv.ParseFloat(words[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		var load [2]float64
		for i, w := range words[2:] {
			v, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatal(err)
			}
			load[i/6] += v / 6
		}
		at, loads = append(at, time.Duration(seconds*1e9)), append(loads, load)
	}
	once, first := len(at), at[0]
	length := at[once-1] - first + 90*time.Millisecond
	for i := range at {
		at[i] -= first
	}
	for n := time.Duration(1); n*length < 100*time.Second; n++ {
		for i := range once {
			at, loads = append(at, at[i]+n*length), append(loads, loads[i])
		}
	}
	return at, loads
}

// Of real drives on their uneven clock: whoever drives sits all the time that is known,
// which is not readings times the usual step; a lift of 15.3 s is a relief and one of
// 14.7 s is none (Sonenblum 2016: 15 s).
func TestDrives(t *testing.T) {
	at, loads := drive(t, "speed_level1_user1_move_stop.csv")
	for _, c := range []struct {
		lift time.Duration
		says string
	}{{0, "0 pressure reliefs, 0 transfers"}, {14700 * time.Millisecond, "0 pressure reliefs, 0 transfers"}, {15300 * time.Millisecond, "1 pressure relief, 0 transfers"}} {
		a := newArchive(t, evening, chair)
		var known time.Duration
		for i := range at {
			l := loads[i]
			if since := at[i] - 40*time.Second; since >= 0 && since < c.lift {
				l = [2]float64{l[0] * 0.04, l[1] * 0.04}
			}
			a.reads("chair/seat", a.at(at[i]), l[0], l[1])
			if i > 0 {
				known += min(at[i]-at[i-1], time.Second)
			}
		}
		end := at[len(at)-1]
		a.session("s-one", "seat-1", "K-12", 0, end, "")
		d, err := a.source(time.UTC).Session(t.Context(), "s-one")
		p := newLook(written(t, d, err))
		p.has(t, "Seated for "+paper.Lasting(known)+": ", c.says)
		p.has(t, "observed "+paper.Share(known, end)+" of the time")
		if short := known - time.Duration(len(at)-1)*90*time.Millisecond; short < known/50 {
			t.Errorf("readings times the usual step are only %v short: the recording shows nothing", short)
		}
	}
}
