package posture

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// drawModel draws coefficients of the size of those that were fitted.
func drawModel(t *rapid.T) *Model {
	m := new(Model)
	for i := range m.Bias {
		m.Bias[i] = rapid.Float64Range(-3, 3).Draw(t, "bias")
		start, by := rapid.Float64Range(-2, 2).Draw(t, "start"), rapid.Float64Range(0.1, 3).Draw(t, "by")
		for k := range m.Weights[i] { // weights of every size, without a draw for each
			m.Weights[i][k] = 4 * math.Sin(start+by*float64(k*k%997))
		}
	}
	return m
}

func drawPicture(t *rapid.T) []float64 {
	m, values := drawMap(t)
	pic, ok := New(m).Picture(values)
	if !ok {
		t.Skip("nothing to be seen")
	}
	return pic
}

// Beliefs are shares whatever the weights are: of twelve kinds, none less than nothing,
// which sum to 1; and the mirrored picture has the mirrored beliefs, exactly but for the
// order in which a sum is rounded.
func TestBeliefsOfAnyWeights(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		model, pic := drawModel(t), drawPicture(t)
		mirror := slices.Clone(pic)
		for r := range layers * tall {
			slices.Reverse(mirror[r*wide : (r+1)*wide])
		}
		p, q := model.Kinds(pic), model.Kinds(mirror)
		sum := 0.0
		for k, v := range p {
			if sum += v; v < 0 || v > 1 || math.Abs(v-q[(k+Templates)%(2*Templates)]) > 1e-9 {
				t.Fatalf("kind %d: %v, in a mirror %v", k, p, q)
			}
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("the shares of %v sum to %v", p, sum)
		}
	})
}

// What all kinds have more of changes nothing; what one template has more of makes it and
// its mirror image more likely, and everything else less; and no weight is too large for a
// share to be a number.
func TestBiases(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		model, pic := drawModel(t), drawPicture(t)
		want := model.Kinds(pic)
		which, more := rapid.IntRange(0, Templates-1).Draw(t, "template"), rapid.Float64Range(0.1, 4).Draw(t, "more")
		raised, all, huge := *model, *model, *model
		raised.Bias[which] += more
		for i := range all.Bias {
			all.Bias[i] += 16 * more
			huge.Bias[i] *= 1e300
		}
		for k, v := range all.Kinds(pic) {
			if math.Abs(v-want[k]) > 1e-9 {
				t.Fatalf("with more of all kind %d has %v, not %v", k, v, want[k])
			}
		}
		for k, v := range raised.Kinds(pic) {
			// The odds of a kind against each other are what they were, times e to the more.
			by := 1.0
			if k%Templates == which {
				by = math.Exp(more)
			}
			rest := 1 - want[which] - want[which+Templates]
			if share := by * want[k] / (rest + math.Exp(more)*(1-rest)); math.Abs(v-share) > 1e-9 {
				t.Fatalf("with %v more of template %d kind %d has %v, want %v", more, which, k, v, share)
			}
		}
		for k, v := range huge.Kinds(pic) {
			if v != v {
				t.Fatalf("kind %d of huge biases: %v", k, v)
			}
		}
	})
}

// Who knows nothing believes each of twelve kinds alike: four are supine, four of either
// side, and nobody is sure.
func TestNoCoefficients(t *testing.T) {
	var none Model
	a := NewWith(Mat{Rows: 1, Columns: 1}, &none).Recognise([]float64{1})
	for what, share := range map[string]float64{"supine": a.Supine, "left": a.Left, "right": a.Right} {
		if math.Abs(share-1.0/3) > 1e-12 {
			t.Errorf("%s is believed by %v, want a third", what, share)
		}
	}
	if a.Position != NotSure {
		t.Errorf("it is sure of %v", a.Position)
	}
}

// Of all shares there are, the position is the one with nine tenths or more, and there is
// one at most; the largest share is found wherever it is, and of equals the first.
func TestTheLargestShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(0, 1).Draw(t, "a"), rapid.Float64Range(0, 1).Draw(t, "b")
		cuts := []float64{min(a, b), max(a, b)}
		shares := []float64{cuts[0], cuts[1] - cuts[0], 1 - cuts[1]}
		answer := Answer{Supine: shares[0], Left: shares[1], Right: shares[2]}
		best, share := answer.most()
		if share != slices.Max(shares) || shares[best-Supine] != share || slices.Index(shares, share) != int(best-Supine) {
			t.Fatalf("of %v the largest is %v of %v", shares, share, best)
		}
	})
	for want, a := range map[Position]Answer{Supine: {Supine: 0.4, Left: 0.2, Right: 0.4}, Left: {Supine: 0.2, Left: 0.4, Right: 0.4}, Right: {Left: 0.4, Right: 0.6}} {
		if best, _ := a.most(); best != want {
			t.Errorf("of %+v the largest is %v, want %v", a, best, want)
		}
	}
}

// The coefficients are what was fitted to nine subjects, each named once, in thousandths:
// every template has weights in both layers, none is a copy of another or of its mirror
// image, and none is so large that it did not fit into its number.
func TestTheCoefficientsAreWhole(t *testing.T) {
	if len(FittedTo) != 9 || !slices.IsSorted(FittedTo) || len(slices.Compact(slices.Clone(FittedTo))) != 9 {
		t.Errorf("fitted to %v", FittedTo)
	}
	for _, name := range FittedTo {
		if !strings.HasPrefix(name, "S") {
			t.Errorf("%q is no subject", name)
		}
	}
	mirrored := func(w [layers * tall * wide]int16) [layers * tall * wide]int16 {
		for r := range layers * tall {
			slices.Reverse(w[r*wide : (r+1)*wide])
		}
		return w
	}
	for i, w := range coefficients.weights {
		for layer := range layers {
			n, none := 0, 0
			for k, v := range w[layer*tall*wide : (layer+1)*tall*wide] {
				if v == math.MaxInt16 || v == math.MinInt16 {
					t.Errorf("template %d: bin %d is at the end of its range", i, k)
				}
				if n++; v == 0 {
					none++
				}
			}
			if none > n/2 {
				t.Errorf("template %d: %d of %d bins of layer %d weigh nothing", i, none, n, layer)
			}
		}
		for k, other := range coefficients.weights {
			if k != i && w == other || w == mirrored(other) {
				t.Errorf("template %d is a copy of %d", i, k)
			}
		}
		for k, v := range w {
			if got := math.Round(embedded.Weights[i][k] * 1000); got != float64(v) {
				t.Fatalf("template %d, bin %d: %v thousandths, want %d", i, k, got, v)
			}
		}
		if got := math.Round(embedded.Bias[i] * 1000); got != float64(coefficients.bias[i]) {
			t.Errorf("template %d: a bias of %v thousandths", i, got)
		}
	}
}

// A mat that shows how somebody lies still does so where it has more cells, or larger ones.
func TestMoreOfAMatShowsNoLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Mat{
			Rows: rapid.IntRange(8, 40).Draw(t, "rows"), Columns: rapid.IntRange(8, 40).Draw(t, "columns"),
			PitchMM: [2]float64{rapid.Float64Range(20, 200).Draw(t, "down"), rapid.Float64Range(20, 200).Draw(t, "along")},
			Head:    rapid.SampledFrom([]Edge{FirstRow, LastRow, FirstColumn, LastColumn}).Draw(t, "head"),
		}
		if !m.Shows() {
			t.Skip("too small")
		}
		more, mirror := m, m
		more.Rows += rapid.IntRange(0, 5).Draw(t, "more rows")
		more.Columns += rapid.IntRange(0, 5).Draw(t, "more columns")
		more.PitchMM[0] *= rapid.Float64Range(1, 2).Draw(t, "larger")
		mirror.FromBelow = true
		if !more.Shows() || !mirror.Shows() {
			t.Fatalf("%+v shows it, and %+v does not", m, more)
		}
	})
}
