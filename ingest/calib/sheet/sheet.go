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

// Write writes the page of a record, printed at now.
func Write(w io.Writer, r *record.Record, now time.Time) error {
	rows := r.Residuals()
	return page.Execute(w, map[string]any{
		"Name":      fmt.Sprintf("%s/%s/%d", r.Bridge, r.Source, r.Channel),
		"Record":    r,
		"ID":        r.ID(),
		"Verdict":   string(r.Verdict),
		"Expired":   r.Expired(now),
		"Model":     modelName(r.Calibration.Loading.Model(), r.Calibration.Unloading != nil),
		"Loop":      loop(r),
		"Residuals": residuals(r, rows),
		"Figures":   r.Figures.Named(),
		"Budget":    r.Budget(),
		"Rows":      rows,
		"Now":       now,
	})
}
