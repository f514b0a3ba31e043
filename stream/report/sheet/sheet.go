package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/record"
	"weald/stream/report/paper"
)

//go:embed sheet.html
var text string

var page = paper.New(text, template.FuncMap{
	"n": func(v any) string {
		switch v := v.(type) {
		case *float64:
			return paper.Number(*v)
		case float64:
			return paper.Number(v)
		}
		return fmt.Sprint(v)
	},
	"fixed":  paper.Fixed,
	"signed": paper.Signed,
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
})

func modelName(m curve.Model, branches bool) string {
	name := map[curve.Model]string{
		curve.Line: "straight line", curve.Quadratic: "quadratic", curve.Power: "power law in conductance", curve.Monotone: "monotone cubic",
	}[m]
	if branches {
		name += ", loading and unloading apart"
	}
	return name
}

const bench = "These figures describe a sensor on the calibration bench; on a body it reads differently."

// Write writes the page of a record, printed at now by program, its name and version.
func Write(w io.Writer, r *record.Record, now time.Time, program string) error {
	rows := r.Residuals()
	title := fmt.Sprintf("Calibration of %s/%s/%d", r.Bridge, r.Source, r.Channel)
	return page.Write(w, title, []string{bench}, program, map[string]any{
		"Title":     title,
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
