package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
)

// drawWalks draws rests and walks at 25 scans a second: strides of about a second
// between highs and lows that are drawn, with single readings missing, and holes
// while it rests.
func drawWalks(t *rapid.T) (all []heard) {
	at, last := 0, 40.0
	add := func(v float64) {
		h := heard{at, v, 28}
		if rapid.IntRange(0, 60).Draw(t, "missing") == 60 {
			h.ankle = math.NaN()
		}
		all, at = append(all, h), at+40
	}
	swing := func(to float64, n int) { // half a cosine
		from := last
		for i := 1; i <= n; i++ {
			add(from + (to-from)*(1-math.Cos(math.Pi*float64(i)/float64(n)))/2)
		}
		last = to
	}
	for range rapid.IntRange(1, 3).Draw(t, "walks") {
		for range 90 {
			add(40)
		}
		at += 1000 * rapid.SampledFrom([]int{0, 0, 5}).Draw(t, "hole")
		for range 15 {
			add(40)
		}
		for range rapid.IntRange(2, 20).Draw(t, "strides") {
			swing(float64(rapid.IntRange(520, 600).Draw(t, "high"))/10, rapid.IntRange(12, 14).Draw(t, "up"))
			swing(float64(rapid.IntRange(380, 420).Draw(t, "low"))/10, rapid.IntRange(12, 14).Draw(t, "down"))
		}
		swing(40, 1)
	}
	for range 100 {
		add(40)
	}
	return all
}

// walked is the walking amplitude at a reading, from all before it; NaN where it
// does not walk. A high is the highest within 0.4 s before and after it, and is known
// to be one when the pressure has come down by 40 % of the largest swing of late.
// Known are all that are known, those to come as well, for a high to be found by.
func walked(known []heard, now heard) float64 {
	if now.ankle != now.ankle {
		return math.NaN()
	}
	type stride struct{ period, high, low float64 }
	var strides []stride
	high := -1
	for i, h := range known {
		if h.at > now.at {
			break
		}
		if high >= 0 && float64(h.at-known[high].at) > 2500 {
			strides, high = nil, -1
		}
		if h.ankle <= 45 {
			continue
		}
		is := true
		for _, o := range known[max(0, i-10):min(len(known), i+11)] {
			is = is && (o.ankle < h.ankle || o.ankle == h.ankle && o.at >= h.at) // the first of equals
		}
		if !is {
			continue
		}
		most := 0.0
		for _, s := range strides[max(0, len(strides)-8):] {
			most = max(most, s.high-s.low)
		}
		confirmed := false
		for _, o := range known[i:] {
			if o.at > now.at || confirmed {
				break
			}
			confirmed = o.ankle < h.ankle-max(2, 0.4*most)
		}
		if !confirmed {
			break
		}
		if high >= 0 {
			low := math.Inf(1)
			for _, o := range known[high:i] {
				low = min(low, o.ankle)
			}
			strides = append(strides, stride{float64(h.at-known[high].at) / 1000, h.ankle, low})
		}
		high = i
	}
	strides = strides[max(0, len(strides)-8):]
	if len(strides) < 3 {
		return math.NaN()
	}
	var periods, highs, lows []float64
	for _, s := range strides {
		periods, highs, lows = append(periods, s.period), append(highs, s.high), append(lows, s.low)
	}
	slices.Sort(periods)
	sum, n := 0.0, 0.0
	for _, p := range periods[len(periods)/4 : len(periods)-len(periods)/4] {
		sum, n = sum+p, n+1
	}
	if float64(now.at-known[high].at)/1000 > 1.8*sum/n { // it has stopped
		return math.NaN()
	}
	return halfway(highs) - halfway(lows)
}

// A swing is judged by the strides themselves, found anew from all readings.
func TestSwingAgainstASlowReference(t *testing.T) {
	happened := 0
	tried.Check(t, tried.Count(&happened, 100), func(t *rapid.T) {
		const limit = 15.53
		r := rules.Rule{Swing: &rules.Swing{Site: "ankle", Limit: rules.Limit{Watch: "ankle.swing", Below: ptr(limit)}}}
		drawDelays(t, &r, 1500)
		r.ForgetAfter += 10 * time.Second
		all := drawWalks(t)
		known := slices.DeleteFunc(slices.Clone(all), func(h heard) bool { return h.ankle != h.ankle })
		happened += heldTo(t, r, 700, all, func(k int) sample.Truth {
			v := walked(known, all[k])
			if v != v {
				return sample.Maybe
			}
			return sample.Of(v < limit)
		})
	})
}
