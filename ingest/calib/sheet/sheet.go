package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
)

//go:embed sheet.html
var text string

var page = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"n": func(v any) string {
		switch v := v.(type) {
		case *float64:
			return number(*v)
		case float64:
			return number(v)
		}
		return fmt.Sprint(v)
	},
	"opt": func(v *float64) string {
		if v == nil {
			return "–"
		}
		return fmt.Sprintf("%.3g", *v)
	},
	"sentence": func(s string) string {
		if s == "" {
			return s
		}
		return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
	},
	"time":  func(t time.Time) string { return t.UTC().Format("2 January 2006, 15:04 UTC") },
	"model": func(c record.Candidate) string { return modelName(c.Model, c.Branches) },
}).Parse(text))

// number has four digits that matter and no exponent in the range of counts.
func number(v float64) string {
	if a := math.Abs(v); a >= 1000 && a < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}

func modelName(m curve.Model, branches bool) string {
	name := map[curve.Model]string{
		curve.Line: "straight line", curve.Quadratic: "quadratic", curve.Power: "power law in conductance", curve.Monotone: "monotone cubic",
	}[m]
	if branches {
		name += ", loading and unloading apart"
	}
	return name
}

type figure struct {
	Name string
	*figures.Figure
	Whole bool
}

type row struct {
	figures.Row
	Fitted, Left float64
}

type parts struct {
	At    float64
	Parts []float64 // fit, hysteresis, repeatability, drift, reference, combined
}

// Write writes the page of a record, printed at now.
func Write(w io.Writer, r *record.Record, now time.Time) error {
	rows := fittedRows(r)
	f := &r.Figures
	residual := figure{Name: "residual standard deviation", Whole: true}
	if s := f.ResidualSD; s != nil {
		residual.Figure = &figures.Figure{MMHg: s.MMHg, Percent: s.Percent}
	}
	return page.Execute(w, map[string]any{
		"Name":      fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel),
		"Record":    r,
		"ID":        r.ID(),
		"Verdict":   string(r.Verdict),
		"Expired":   r.Expired(now),
		"Model":     modelName(r.Calibration.Loading.Model(), r.Calibration.Unloading != nil),
		"Loop":      loop(r),
		"Residuals": residuals(r, rows),
		"Figures": []figure{
			{"linearity, independent line", f.Linearity, false}, {"linearity, terminal line", f.Terminal, false}, {"linearity, least squares", f.LeastSquares, false},
			{"hysteresis", f.Hysteresis, false}, {"repeatability", f.Repeatability, false}, {"zero error", f.Zero, false}, residual,
			{"combined standard uncertainty, largest", f.UHighest, false},
		},
		"Budget": budgetOf(r),
		"Rows":   rows,
		"Now":    now,
	})
}

// fittedRows says what the calibration makes of each reading.
func fittedRows(r *record.Record) (out []row) {
	for _, one := range r.Rows {
		v := r.Calibration.Value(one.Raw, direction(one.Direction), 0)
		out = append(out, row{one, float64(v.MMHg), float64(v.MMHg) - one.Reference})
	}
	return out
}

func direction(d figures.Direction) curve.Direction {
	switch d {
	case figures.Up:
		return curve.Loading
	case figures.Down:
		return curve.Unloading
	}
	return curve.Still
}

// budgetOf is the uncertainty at each level when the record expires, without
// regard to motion.
func budgetOf(r *record.Record) (out []parts) {
	c := &r.Calibration
	drift := c.U.DriftPerDay * r.ValidUntil.Sub(r.At).Hours() / 24
	for i, p := range c.U.At {
		h := c.U.Hysteresis[i]
		if c.Unloading != nil {
			raw := inverse(c, p)
			h = math.Abs(c.Unloading.At(raw)-c.Loading.At(raw)) / math.Sqrt(12)
		}
		all := []float64{c.U.Fit[i], h, c.U.Repeatability[i], drift, c.U.Reference}
		sum := 0.0
		for _, u := range all {
			sum += u * u
		}
		out = append(out, parts{p, append(all, math.Sqrt(sum))})
	}
	return out
}

// inverse returns the count at which the loading curve says p, by halving.
func inverse(c *curve.Calibration, p float64) float64 {
	low, high := c.Raw.Low, c.Raw.High
	if c.Loading.At(low) > c.Loading.At(high) {
		low, high = high, low
	}
	for range 60 {
		if middle := (low + high) / 2; c.Loading.At(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
