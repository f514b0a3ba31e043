package report_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/rules/exposure"
	"weald/stream/report"
	"weald/stream/report/paper"
)

// A posture is how the two sides of a seat are loaded for a while; NaN is a bridge
// that says nothing.
type posture struct {
	lasts       time.Duration
	left, right float64
}

// sits keeps readings of postures, five a second, and returns when they end.
func (a *archive) sits(since time.Duration, all ...posture) time.Duration {
	for _, p := range all {
		for end := since + p.lasts; since < end; since += 200 * time.Millisecond {
			if !math.IsNaN(p.left) {
				a.reads("chair/seat", a.at(since), p.left, p.right)
			}
		}
	}
	return since
}

var nobody = math.NaN()

// The night before and after midnight, by the bounds of Sonenblum, Sprigle, Martin, J
// Rehabil Res Dev 2016;53(5):585-598: 33 % off one side for 15 s and longer is a weight
// shift, 14 s of it are none, 92 % off both sides for 15 s a pressure relief.
var sitting = []posture{
	{240 * time.Second, 60, 60}, {16 * time.Second, 40, 60}, {120 * time.Second, 60, 60}, {14 * time.Second, 40, 60},
	{60 * time.Second, 60, 60}, {16 * time.Second, 5, 5}, {60 * time.Second, 60, 60}, // to 46 s after midnight
	{30 * time.Second, nobody, nobody}, {60 * time.Second, 60, 60}, {70 * time.Second, 0, 0},
	{120 * time.Second, 60, 60}, {20 * time.Second, 60, 30}, {30 * time.Second, 60, 60},
}

// count is the slow reference: of every 200 ms of the postures what was known, and
// whether somebody sat; who has left is missed after a minute.
func count(all []posture, midnight time.Duration) (known, seated [2]time.Duration, dose [2]float64) {
	const tick = 200 * time.Millisecond
	at, empty, silent := time.Duration(0), time.Duration(0), time.Duration(0)
	l, r := 0.0, 0.0
	for _, p := range all {
		for left := p.lasts; left > 0; left -= tick {
			day := 0
			if at >= midnight {
				day = 1
			}
			at += tick
			if math.IsNaN(p.left) {
				silent += tick
			} else {
				silent, l, r = 0, p.left, p.right
			}
			if silent > time.Second-tick { // the last reading lasts for a second
				continue
			}
			known[day] += tick
			if l+r == 0 {
				empty += tick
			} else {
				empty = 0
			}
			if empty <= time.Minute {
				seated[day] += tick
				dose[day] += (l + r) / 2 * tick.Hours()
			}
		}
	}
	return known, seated, dose
}

func TestTrial(t *testing.T) {
	began := time.Date(2026, 3, 1, 23, 52, 0, 0, time.UTC)
	a := newArchive(t, began, chair, bench)
	end := a.sits(0, sitting...)
	a.session("s-one", "seat-1", "K-12", 0, end, "")
	a.session("s-leg", "bench-1", "K-07", 0, end, "")
	a.session("s-none", "seat-1", "K-13", 30*time.Hour, 31*time.Hour, "")
	known, seated, dose := count(sitting, 8*time.Minute)
	d, err := a.source(time.UTC).Trial(t.Context(), report.Trial{From: sample.Past, To: sample.Never}, func(float64) {})
	p := newLook(written(t, d, err))
	watched := [2]time.Duration{8 * time.Minute, end - 8*time.Minute}
	counts := [2][3]string{{"1", "1", "0"}, {"1", "0", "1"}}
	for i, day := range []string{"1 Mar 2026", "2 Mar 2026"} {
		p.has(t, day+" "+paper.Share(known[i], watched[i])+" "+paper.Lasting(seated[i])+" "+counts[i][0]+" "+counts[i][1]+" "+counts[i][2]+" ",
			strings.Fields(paper.Value(dose[i]/seated[i].Hours(), math.NaN(), "mmHg"))[0]+" "+strings.Fields(paper.Value(dose[i], math.NaN(), "mmHg h"))[0])
	}
	if known[0] != watched[0] || known[1] != watched[1]-29200*time.Millisecond || seated[1] != known[1]-10*time.Second {
		t.Errorf("the reference knows of %v and counts %v seated", known, seated)
	}
	p.has(t, "1 Mar 2026 100 %", "1 1 0 4 min 14 s") // 240 s and 15 s, of which the last reading is at 254.8 s
	p.has(t, "all", "2 1 1 4 min 14 s")
	p.has(t, "Left out, as not in a seat: 1 session.")
	p.has(t, "3 Mar 2026 0 % not known not known not known not known not known not known not known")

	one, err := a.source(time.UTC).Trial(t.Context(), report.Trial{Person: "K-12", Place: "seat-1", From: a.at(8 * time.Minute), To: sample.Never}, func(float64) {})
	p = newLook(written(t, one, err))
	p.has(t, "Trial summary of K-12")
	p.has(t, "participants 1")
	if _, err := a.source(time.UTC).Trial(t.Context(), report.Trial{Person: "K-99", To: sample.Never}, func(float64) {}); err == nil {
		t.Error("there is a summary of nobody")
	}
}

// The same session as a report of its own says the same.
func TestSessionInASeat(t *testing.T) {
	a := newArchive(t, evening, chair)
	end := a.sits(0, sitting...)
	a.session("s-one", "seat-1", "K-12", 0, end, "")
	known, seated, _ := count(sitting, 8*time.Minute)
	d, err := a.source(time.UTC).Session(t.Context(), "s-one")
	p := newLook(written(t, d, err))
	p.has(t, "Seated for "+paper.Lasting(seated[0]+seated[1])+": 2 weight shifts, 1 pressure relief, 1 transfer.")
	p.has(t, "nobody there", paper.Lasting(known[0]+known[1]-seated[0]-seated[1]))
	p.has(t, "not known", paper.Lasting(end-known[0]-known[1]))
}

// A tolerance of an hour at 60 mmHg, of a table of the seat's own, is half used after
// half an hour; the report says so on the day on which it was.
func TestToleranceUsed(t *testing.T) {
	a := newArchive(t, evening, chair)
	a.plan.Rules = append(a.plan.Rules, rules.Rule{ID: "tolerance", At: rules.Where{Kind: rules.Seat}, Priority: alert.Low, ForgetAfter: 10 * time.Minute,
		Exposure: &rules.Exposure{Of: "left", Table: []exposure.Point{{MMHg: 50, Time: 2 * time.Hour}, {MMHg: 60, Time: time.Hour}}, Share: 0.8, Floor: 32, Recovery: exposure.Never}})
	for since := time.Duration(0); since <= 30*time.Minute; since += time.Second / 2 {
		a.reads("chair/seat", a.at(since), 60, 40)
	}
	a.session("s-one", "seat-1", "K-12", 0, 30*time.Minute+time.Second, "")
	d, err := a.source(time.UTC).Trial(t.Context(), report.Trial{From: sample.Past, To: sample.Never}, func(float64) {})
	p := newLook(written(t, d, err))
	p.has(t, "pressure, mmHg exposure, mmHg h tolerance used 1 Mar 2026 100 % 30 min 1 s 0 0 0", "50 25 50 %")
	p.has(t, "left: at or above 80 % of its tolerance")
}
