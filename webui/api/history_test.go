package api

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/history"
	"weald/stream/view"
)

// Columns are written as encoding/json writes the same one value at a time.
func TestColumnsAreJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := values(rapid.SliceOf(rapid.OneOf(
			rapid.Float64(),
			rapid.Map(rapid.Float32(), func(f float32) float64 { return float64(f) }),
			rapid.Map(rapid.Int64Range(-3e7, 3e7), func(n int64) float64 { return float64(n) / 1e5 }),
			rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 0, math.Copysign(0, -1), -1e-9, exactly / 1e4, -exactly / 1e4}),
		)).Draw(t, "values"))
		one := make([]*float64, len(v))
		for i := range v {
			one[i] = view.Measured(v[i])
		}
		same(t, v, one)
		m := moments(rapid.SliceOf(rapid.Map(rapid.Int64(), func(n int64) sample.Instant { return sample.Instant(n) })).Draw(t, "instants"))
		at := make([]time.Time, len(m))
		for i := range m {
			at[i] = m[i].Time()
		}
		same(t, m, at)
	})
	same(t, values(nil), []*float64{})
}

func same(t rapid.TB, got, want any) {
	t.Helper()
	g, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	if w, err := json.Marshal(want); err != nil || string(g) != string(w) {
		t.Fatalf("%s, want %s, %v", g, w, err)
	}
}

// BenchmarkSignals is what it costs to write eight hours of 24 series at 2,000
// points each as an answer, once they have been found, and how many times as long
// that takes as writing the same numbers and times in a bare loop.
func BenchmarkSignals(b *testing.B) {
	from := time.Date(2025, 11, 24, 22, 0, 0, 0, time.UTC)
	step := 15 * time.Second
	found := &history.Answer{From: sample.At(from), To: sample.At(from.Add(8 * time.Hour)), Step: step}
	for i := range 24 {
		l := history.Line{Name: fmt.Sprintf("s%d.pressure", i), Unit: "mmHg"}
		for k := range 1920 {
			v := 40 + math.Sin(float64(k*(i+1))/50)
			if k%100 == 0 {
				v = math.NaN()
			}
			l.T = append(l.T, sample.At(from.Add(time.Duration(k)*step)))
			l.Min, l.Mean, l.Max = append(l.Min, v-1), append(l.Mean, v), append(l.Max, v+1)
		}
		found.Series = append(found.Series, l)
	}
	mux := http.NewServeMux()
	Register(mux, Options{
		Plan: &rules.Plan{Places: []rules.Place{{ID: "bench-1"}}},
		Past: func(context.Context, history.Query) (*history.Answer, error) { return found, nil },
	})
	bare, text := time.Duration(0), []byte(nil)
	for b.Loop() {
		r := httptest.NewRequest("GET", "/api/v1/places/bench-1/signals?points=2000&from=2025-11-24T22:00:00Z&to=2025-11-25T06:00:00Z", nil)
		w := httptest.NewRecorder()
		mux.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatal(w.Body)
		}
		b.SetBytes(int64(w.Body.Len()))

		b.StopTimer()
		began := time.Now()
		text = text[:0]
		for i := range found.Series {
			l := &found.Series[i]
			for k, at := range l.T {
				text = at.Time().AppendFormat(text, time.RFC3339)
				for _, v := range []float64{l.Min[k], l.Mean[k], l.Max[k]} {
					text = append(strconv.AppendFloat(text, math.Round(v*1e4)/1e4, 'f', -1, 64), ',')
				}
			}
		}
		bare += time.Since(began)
		b.StartTimer()
	}
	b.ReportMetric(float64(b.Elapsed())/float64(bare), "x-bare")
}
