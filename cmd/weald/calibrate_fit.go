package main

import (
	"errors"
	"fmt"
	"io"
	"math"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
)

// fitAnswer is what calibrate fit says. Null is not known, or not of this model.
type fitAnswer struct {
	Model          curve.Model        `json:"model"`
	Direction      string             `json:"direction"`
	Branches       bool               `json:"branches"`
	Coefficients   []float64          `json:"coefficients"`    // lowest power first; null for a monotone curve
	StandardErrors []float64          `json:"standard_errors"` // of the coefficients
	ResidualSD     *float64           `json:"residual_sd"`     // mmHg, or counts with --direction response
	RSquared       *float64           `json:"r_squared"`
	LeaveOneOut    *float64           `json:"leave_one_out"` // in the unit of residual_sd
	Figures        *figures.Figures   `json:"figures"`
	Candidates     []record.Candidate `json:"candidates"`
	Calibration    *curve.Calibration `json:"calibration"` // null where refused, or with --direction response
	Verdict        record.Verdict     `json:"verdict"`
	Remarks        []string           `json:"remarks"`
	Refused        []fit.Refusal      `json:"refused"`

	result *fit.Result // nil where refused
}

func (a *fitAnswer) rejected() bool { return a.Verdict == record.Rejected }

// fitted fits rows as the flags say. A table that is refused has no
// calibration, but what was asked for by name is shown all the same, so that one
// can see why.
func fitted(rows []figures.Row, f fitFlags) (*fitAnswer, error) {
	a := &fitAnswer{Direction: f.direction, Remarks: []string{}, Refused: []fit.Refusal{}}
	r, err := fit.Fit(rows, f.options)
	refused, isRefused := errors.AsType[fit.Refused](err)
	switch {
	case isRefused:
		a.Refused, a.Verdict, a.Model = refused, record.Rejected, f.options.Model
		figs := figures.Of(rows)
		if figs.FullScale > 0 {
			a.Figures = &figs
		}
	case err != nil && f.direction == "reading":
		return nil, err
	case err == nil:
		a.take(r)
	}
	degree := map[curve.Model]int{curve.Line: 1, curve.Quadratic: 2}[f.options.Model]
	switch {
	case f.direction == "response":
		return a, a.response(rows, degree)
	case isRefused && degree > 0:
		if p, err := fit.FitPolynomial(raw(rows), reference(rows), degree); err == nil {
			a.polynomial(p)
		}
	}
	return a, nil
}

func (a *fitAnswer) take(r *fit.Result) {
	c := &r.Calibration
	a.result = r
	a.Model, a.Branches, a.Calibration = c.Loading.Model(), c.Unloading != nil, c
	a.Coefficients, a.StandardErrors = c.Loading.Coefficients(), r.StandardErrors
	a.ResidualSD, a.RSquared, a.LeaveOneOut = number(r.ResidualSD), number(r.RSquared), number(r.LeaveOneOut)
	a.Figures, a.Candidates, a.Verdict = &r.Figures, r.Candidates, r.Verdict
	a.Remarks = append(a.Remarks, r.Remarks...)
}

func (a *fitAnswer) polynomial(p fit.Polynomial) {
	a.Coefficients, a.StandardErrors = p.Coefficients, p.StandardErrors
	if math.IsNaN(p.ResidualSD) {
		a.StandardErrors = nil
	}
	a.ResidualSD, a.RSquared = number(p.ResidualSD), number(p.RSquared)
}

// response fits counts on pressures. Between line and quadratic the residual
// standard deviation decides, for which each coefficient has its price.
func (a *fitAnswer) response(rows []figures.Row, degree int) error {
	a.Calibration, a.Candidates, a.LeaveOneOut, a.Branches = nil, nil, nil, false
	degrees := []int{degree}
	if degree == 0 {
		degrees = []int{1, 2}
	}
	least := math.Inf(1)
	for _, d := range degrees {
		p, err := fit.FitPolynomial(reference(rows), raw(rows), d)
		if err != nil {
			return err
		}
		if p.ResidualSD < 0.95*least || len(degrees) == 1 {
			least = p.ResidualSD
			a.Model = []curve.Model{curve.Line, curve.Quadratic}[d-1]
			a.polynomial(p)
		}
	}
	return nil
}

func raw(rows []figures.Row) (out []float64) {
	for _, r := range rows {
		out = append(out, r.Raw)
	}
	return out
}

func reference(rows []figures.Row) (out []float64) {
	for _, r := range rows {
		out = append(out, r.Reference)
	}
	return out
}

func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func (a *fitAnswer) print(w io.Writer) {
	unit := "mmHg"
	if a.Direction == "response" {
		unit = "counts"
	}
	if len(a.Coefficients) > 0 || a.Calibration != nil {
		name := string(a.Model)
		if a.Branches {
			name += ", loading and unloading apart"
		}
		fmt.Fprintf(w, "model          %s\n", name)
	}
	for i, c := range a.Coefficients {
		fmt.Fprintf(w, "coefficient %d  %.10g", i, c)
		if i < len(a.StandardErrors) {
			fmt.Fprintf(w, "  (standard error %.4g)", a.StandardErrors[i])
		}
		fmt.Fprintln(w)
	}
	if a.Calibration != nil {
		for _, k := range a.Calibration.Loading.Knots() {
			fmt.Fprintf(w, "knot           %.6g counts is %.5g mmHg\n", k.Raw, k.MMHg)
		}
	}
	if a.ResidualSD != nil {
		fmt.Fprintf(w, "residual SD    %.6g %s\n", *a.ResidualSD, unit)
	}
	if a.RSquared != nil {
		fmt.Fprintf(w, "R squared      %.9f\n", *a.RSquared)
	}
	a.printFigures(w)
	if len(a.Candidates) > 0 {
		fmt.Fprintf(w, "\ncandidates, by their error at left-out levels (mmHg)\n")
	}
	for _, c := range a.Candidates {
		branches, chosen, left := "", "", "–"
		if c.Branches {
			branches = ", branches"
		}
		if c.Chosen {
			chosen = "  taken"
		}
		if c.Error != nil {
			left = fmt.Sprintf("%.3g", *c.Error)
		}
		if c.Note != "" {
			chosen = "  " + c.Note
		}
		fmt.Fprintf(w, "  %-22s %8s%s\n", string(c.Model)+branches, left, chosen)
	}
	if a.Verdict != "" && len(a.Refused) == 0 {
		fmt.Fprintf(w, "\n%s\n", a.Verdict)
	}
	for _, r := range a.Remarks {
		fmt.Fprintf(w, "  %s\n", r)
	}
}

func (a *fitAnswer) printFigures(w io.Writer) {
	f := a.Figures
	if f == nil {
		return
	}
	fmt.Fprintf(w, "\nfull scale     %.5g mmHg, %.5g counts\n", f.FullScale, f.Output)
	for _, one := range []struct {
		name string
		*figures.Figure
	}{
		{"linearity, independent", f.Linearity}, {"linearity, terminal", f.Terminal}, {"linearity, least squares", f.LeastSquares},
		{"hysteresis", f.Hysteresis}, {"repeatability", f.Repeatability}, {"zero error", f.Zero}, {"combined u, largest", f.UHighest},
	} {
		if one.Figure == nil {
			fmt.Fprintf(w, "%-26s not known\n", one.name)
			continue
		}
		fmt.Fprintf(w, "%-26s %6.2f mmHg %6.2f %% of full scale, at %.4g mmHg\n", one.name, one.MMHg, one.Percent, one.At)
	}
}
