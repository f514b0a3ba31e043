package rules_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// With what probability a graduation is lost is found here by trying it (the way of JCGM
// 101:2008, clause 7): the pressures of ankle and calf are disturbed again and again, each
// by an error of its own and both by one of the gauge, and it is counted how often the
// bound is missed. A rule that asks for less certainty than that has to say yes, and one
// that asks for more no (JCGM 106:2012, 8.3.2). So for an ankle alone, and for the mean of
// several channels.
func TestGraduationWithCertaintyByTrying(t *testing.T) {
	const draws = 1500
	rng := rand.New(rand.NewPCG(7, 7))
	judged := map[sample.Truth]int{}
	for range 40 {
		ankle, calf := 30+30*rng.Float64(), 15+40*rng.Float64()
		own := [2]float64{0.3 + 4*rng.Float64(), 0.3 + 4*rng.Float64()}
		shared := [2]float64{4 * rng.Float64(), 4 * rng.Float64()}
		g := rules.Graduation{}
		var missed func(ankle, calf float64) bool
		switch bound := rng.IntN(3); bound {
		case 0:
			g.Ratio = calf/ankle + 0.15*rng.NormFloat64()
			missed = func(ankle, calf float64) bool { return calf > g.Ratio*ankle }
		case 1:
			g.Drop = max(0.1, ankle-calf+4*rng.NormFloat64())
			missed = func(ankle, calf float64) bool { return ankle-calf < g.Drop }
		default:
			g.Steepest = min(0.99, calf/ankle+0.15*rng.NormFloat64())
			missed = func(ankle, calf float64) bool { return calf < g.Steepest*ankle }
		}
		if g.Ratio < 0.05 && g.Drop == 0 && g.Steepest < 0.05 {
			continue
		}
		n := 0.0
		for range draws {
			gauge := rng.NormFloat64()
			if missed(ankle+own[0]*rng.NormFloat64()+shared[0]*gauge, calf+own[1]*rng.NormFloat64()+shared[1]*gauge) {
				n++
			}
		}
		p := n / draws
		off := 4*math.Sqrt(p*(1-p)/draws) + 0.005 // four standard errors of the count
		for _, c := range []struct {
			certainty float64
			want      sample.Truth
		}{{p - off, sample.Yes}, {p + off, sample.No}} {
			if c.certainty <= 0.001 || c.certainty >= 0.999 || math.Abs(c.certainty-0.5) < 1e-9 {
				continue
			}
			s := newStory(t, leg(rules.Rule{Graduation: &g, While: "true", Certainty: c.certainty}))
			s.sure(0, []float64{ankle, calf}, own[:], shared[:])
			if got := s.Progress(0, nil)[0].Condition; got != c.want {
				t.Errorf("%v ± %v (%v) and %v ± %v (%v) miss %+v with %v: certainty %v says %v", ankle, own[0], shared[0], calf, own[1], shared[1], g, p, c.certainty, got)
			}
			judged[c.want]++
		}
	}
	if judged[sample.Yes] < 10 || judged[sample.No] < 10 {
		t.Errorf("judged %v: too few to prove anything", judged)
	}
}

// The same of a limit on a site: of the mean of its channels, which are disturbed each by
// itself and all by the gauge, and of a band with two bounds, both of which may be missed.
func TestLimitWithCertaintyByTrying(t *testing.T) {
	const draws = 1500
	rng := rand.New(rand.NewPCG(8, 8))
	judged := map[sample.Truth]int{}
	for n := range 40 {
		channels := 1 + rng.IntN(4)
		values, own, shared := make([]float64, channels), make([]float64, channels), make([]float64, channels)
		mean := 0.0
		for i := range values {
			values[i], own[i], shared[i] = 35+10*rng.Float64(), 0.5+5*rng.Float64(), 2*rng.Float64()
			mean += values[i] / float64(channels)
		}
		lo, hi := mean-3*rng.Float64(), mean+3*rng.Float64()
		limit := []rules.Limit{{Above: &hi}, {Below: &lo}, {Outside: &[2]float64{lo, hi}}, {Above: &lo}}[n%4]
		limit.Watch = "ankle.pressure"
		beyond := func(v float64) bool {
			return limit.Above != nil && v > *limit.Above || limit.Below != nil && v < *limit.Below || limit.Outside != nil && (v < lo || v > hi)
		}
		count := 0.0
		for range draws {
			gauge, v := rng.NormFloat64(), 0.0
			for i := range values {
				v += (values[i] + own[i]*rng.NormFloat64() + shared[i]*gauge) / float64(channels)
			}
			if beyond(v) {
				count++
			}
		}
		p := count / draws
		off := 4*math.Sqrt(p*(1-p)/draws) + 0.005
		for want, certainty := range map[sample.Truth]float64{sample.Yes: p - off, sample.No: p + off} {
			if certainty <= 0.001 || certainty >= 0.999 {
				continue
			}
			r := above("ankle.pressure", 1, time.Second)
			r.Limit, r.Certainty = &limit, certainty
			s := newStory(t, cluster(channels, nil, r))
			s.sure(0, values, own, shared)
			if got := s.Progress(0, nil)[0].Condition; got != want {
				t.Errorf("%v ± %v (%v) is %s with %v: certainty %v says %v", values, own, shared, limit.Words("mmHg"), p, certainty, got)
			}
			judged[want]++
		}
	}
	if judged[sample.Yes] < 10 || judged[sample.No] < 10 {
		t.Errorf("judged %v: too few to prove anything", judged)
	}
}
