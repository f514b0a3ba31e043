package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"weald/ingest/calib/figures"
)

// A Refusal is why a channel cannot be calibrated from a table, and what to do.
type Refusal struct {
	Reason string `json:"reason"`
	Advice string `json:"advice"`
}

func (r Refusal) Error() string { return r.Reason + ": " + r.Advice }

// Refused is every reason at once.
type Refused []Refusal

func (r Refused) Error() string {
	var all []string
	for _, one := range r {
		all = append(all, one.Error())
	}
	return strings.Join(all, "\n")
}

// The limits of what can be calibrated.
const (
	FewestLevels = 4
	LeastSpan    = 30 // mmHg

	flat  = 0.05  // a step this small against the median step is a sensor at its end
	turns = 0.075 // a step back by more than this share of the output is a turn: half of the repeatability that is rejected

	// A plateau may move by this share of full scale and is one; more is a motion.
	// It is less than half of the repeatability that warns.
	steady = 0.02

	// PerKPa is how many mmHg a kPa is (133.322387415 Pa each).
	PerKPa = 7.500615758
)

// inspect returns why a table cannot be fitted: nil if it can. A reading at or
// beyond rail is saturated. Noise is the standard deviation of a single reading in
// counts, 0 if it is not known: a step back that is less is no turn.
func inspect(rows []figures.Row, rail, noise float64) Refused {
	var out Refused
	refuse := func(advice, reason string, args ...any) {
		out = append(out, Refusal{fmt.Sprintf(reason, args...), advice})
	}
	of, level := figures.Levels(rows)
	if len(level) < FewestLevels {
		refuse("read at four different pressures at least, better at eleven",
			"there are %d levels of pressure, fewer than %d", len(level), FewestLevels)
	}
	if len(level) < 2 {
		return out
	}
	kPa := false
	if span := level[len(level)-1] - level[0]; span < LeastSpan {
		if kPa = span*PerKPa >= LeastSpan; kPa {
			refuse("if the pressures were typed in kPa, convert them: 1 kPa is 7.5006 mmHg. If they are mmHg, go higher",
				"the pressures span %.3g, which would be %.3g mmHg if they were kPa, and is less than %d mmHg if they are mmHg", span, span*PerKPa, LeastSpan)
		} else {
			refuse("go higher, to the highest pressure that is to be measured",
				"the pressures span %.3g mmHg, less than %d", span, LeastSpan)
		}
	}
	raw, _ := columns(rows)
	if low, high := slices.Min(raw), slices.Max(raw); low == high {
		refuse("the sensor or its connection is dead: exchange it, and calibrate again",
			"the channel does not respond: every reading is %g", low)
		return out
	}
	mean, _ := figures.Means(rows, of, len(level), figures.Up, "")
	mean, level = known(mean, level)
	if len(mean) < 2 {
		return out
	}
	noise = max(4*math.Sqrt2*meanError(rows, of), noise) // what two means differ by without a cause
	if span := slices.Max(mean) - slices.Min(mean); span <= noise {
		refuse("see that this sensor lies under the cuff, and that its plug holds. If both are so it is dead: exchange it",
			"the channel does not respond: its readings differ by %.2g counts over all pressures, no more than they scatter", span)
		return out // nothing else can be told of noise
	}
	if i, as := oneInKPa(rows); i >= 0 && !kPa && len(level) >= FewestLevels {
		refuse("correct the row if it was typed in kPa",
			"row %d says %.4g mmHg where its reading says about %.3g, which is %.4g kPa", i+1, rows[i].Reference, as, rows[i].Reference)
		return out // a level in the wrong place looks like a turn too
	}
	if t := turning(mean, noise); t > 0 {
		refuse("see that cuff and sensor lie flat and that no reading is in the wrong row, and run the cycle again",
			"the readings do not go one way: at %.4g mmHg they turn back", level[t])
	}
	if at, why := saturated(rows, mean, level, rail); why != "" {
		refuse("lower the gain, or calibrate to a lower pressure only", "the channel is saturated at %.4g mmHg: %s", at, why)
	}
	return out
}

func known(mean, level []float64) (m, l []float64) {
	for i, v := range mean {
		if v == v {
			m, l = append(m, v), append(l, level[i])
		}
	}
	return m, l
}

// meanError returns the standard error of a level's mean, in counts, from the
// scatter of readings at one level and in one direction; 0 where there are no
// two.
func meanError(rows []figures.Row, of []int) float64 {
	at := [2][]mean{make([]mean, len(rows)), make([]mean, len(rows))}
	for i, r := range rows {
		at[side(r)][of[i]].add(r.Raw)
	}
	squares, df, n, levels := 0.0, 0.0, 0.0, 0.0
	for i, r := range rows {
		m := at[side(r)][of[i]]
		squares += (r.Raw - m.of()) * (r.Raw - m.of())
	}
	for _, direction := range at {
		for _, m := range direction {
			if m.n > 0 {
				df, n, levels = df+m.n-1, n+m.n, levels+1
			}
		}
	}
	if df == 0 {
		return 0
	}
	return math.Sqrt(squares / df * levels / n)
}

// turning returns the first level at which means go back against their overall
// direction, by more than scatter explains, or 0.
func turning(mean []float64, scatter float64) int {
	last := len(mean) - 1
	output := math.Abs(mean[last] - mean[0])
	lowest, highest := slices.Min(mean), slices.Max(mean)
	if output < (highest-lowest)*(1-2*turns) { // ends that are nearer than the middle
		output = highest - lowest
	}
	sign := math.Copysign(1, mean[last]-mean[0])
	reached := sign * mean[0]
	for i := 1; i <= last; i++ {
		if reached-sign*mean[i] > max(turns*output, scatter) {
			return i
		}
		reached = max(reached, sign*mean[i])
	}
	return 0
}

// saturated returns the lowest level at a rail or where the channel no longer
// follows, and why.
func saturated(rows []figures.Row, mean, level []float64, rail float64) (at float64, why string) {
	at = math.Inf(1)
	for _, r := range rows {
		if r.Raw >= rail && r.Reference < at {
			at, why = r.Reference, fmt.Sprintf("it reads %g, and %g is its highest", r.Raw, rail)
		}
	}
	if why != "" || len(mean) < 3 {
		return at, why
	}
	slopes := make([]float64, len(mean)-1)
	for i := range slopes {
		slopes[i] = math.Abs(mean[i+1]-mean[i]) / (level[i+1] - level[i])
	}
	sorted := slices.Sorted(slices.Values(slopes))
	usual := stat.Quantile(0.5, stat.Empirical, sorted, nil)
	i := len(slopes)
	for i > 0 && slopes[i-1] < flat*usual {
		i--
	}
	if i < len(slopes) {
		return level[i], "above it the reading hardly changes"
	}
	return 0, ""
}

// oneInKPa finds a single row whose pressure was typed in kPa: what its reading
// says by all others is 7.5 times what the row says.
func oneInKPa(rows []figures.Row) (row int, says float64) {
	for i, r := range rows {
		if r.Reference <= 0 {
			continue
		}
		rest := slices.Delete(slices.Clone(rows), i, i+1)
		f, err := fitMonotone(rest)
		if err != nil {
			continue
		}
		p := f.curve.At(r.Raw)
		if ratio := p / r.Reference / PerKPa; ratio > 0.9 && ratio < 1.1 && p-r.Reference > 10 {
			return i, p
		}
	}
	return -1, 0
}

// Unstable refuses a plateau whose reading still moves: by more than a share of
// the channel's output from its beginning to its end. Steps that are known to
// be less than the channel's creep are not held against it.
func Unstable(at, drift, output float64) *Refusal {
	if math.Abs(drift) <= steady*math.Abs(output) {
		return nil
	}
	return &Refusal{
		fmt.Sprintf("the plateau at %.4g mmHg is not stable: the reading moved by %.1f %% of full scale", at, 100*math.Abs(drift/output)),
		"hold the pressure longer, look for a leak, and do not touch the cuff",
	}
}

// Swapped looks for channels that are not where they are said to be. Readings
// has the level readings of every channel of the source, step by step; on says
// which channels lie under the cuff. Who lies there follows the cuff's steps,
// and who does not, does not.
func Swapped(reference []float64, readings [][]float64, on []bool) map[int]Refusal {
	follows := func(raw []float64) float64 {
		a, b := make([]float64, len(raw)-1), make([]float64, len(raw)-1)
		for i := range a {
			a[i], b[i] = reference[i+1]-reference[i], raw[i+1]-raw[i]
		}
		if c := stat.Correlation(a, b, nil); c == c {
			return math.Abs(c)
		}
		return 0 // it never moved
	}
	out := map[int]Refusal{}
	if len(reference) < 4 {
		return out
	}
	var strangers []int
	for c, raw := range readings {
		if !on[c] && follows(raw) > 0.9 {
			strangers = append(strangers, c)
		}
	}
	for c, raw := range readings {
		if on[c] && follows(raw) < 0.5 && len(strangers) > 0 {
			out[c] = Refusal{
				fmt.Sprintf("channel %d does not follow the cuff's steps, and channel %d, which is not under the cuff, does", c, strangers[0]),
				"see whether the two are swapped at the connector or in the configuration",
			}
		}
	}
	return out
}
