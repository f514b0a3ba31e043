package report_test

import (
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/stream/report/paper"
)

// Of real drives on their uneven clock: whoever drives sits all the time that is known,
// which is not readings times the usual step; a lift of 15.3 s is a relief and one of
// 14.7 s is none (Sonenblum 2016: 15 s).
func TestDrives(t *testing.T) {
	at, loads := recorded.Drive(t, "speed_level1_user1_move_stop.csv")
	for _, c := range []struct {
		lift time.Duration
		says string
	}{{0, "0 pressure reliefs, 0 transfers"}, {14700 * time.Millisecond, "0 pressure reliefs, 0 transfers"}, {15300 * time.Millisecond, "1 pressure relief, 0 transfers"}} {
		a := newArchive(t, evening, chair)
		var known time.Duration
		for i := range at {
			l := [2]float64{loads[i][0] / 6, loads[i][1] / 6} // the means, in mmHg by an invented calibration
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
