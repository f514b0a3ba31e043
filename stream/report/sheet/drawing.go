package sheet

import (
	"html/template"
	"math"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
	"weald/stream/report/paper"
)

// axis is of a range, and a little more on both sides.
func axis(name string, r curve.Range) paper.Axis {
	r = padded(r)
	return paper.Numbers(name, r.Low, r.High)
}

func padded(r curve.Range) curve.Range {
	pad := 0.04 * r.Span()
	return curve.Range{Low: r.Low - pad, High: r.High + pad}
}

// loop draws counts against pressure, which is how a sensor is seen, though the
// curve goes the other way.
func loop(r *record.Record) template.HTML {
	c := &r.Calibration
	d := paper.Draw("Counts against reference pressure, loading and unloading", paper.Half, axis("mmHg", c.MMHg), axis("counts", c.Raw))
	trace := func(k *curve.Curve) (out []paper.Point) {
		for i := range 121 {
			raw := c.Raw.Low + c.Raw.Span()*float64(i)/120
			if p := k.At(raw); padded(c.MMHg).Has(p) {
				out = append(out, paper.Point{X: p, Y: raw})
			}
		}
		return out
	}
	d.Path("up", trace(&c.Loading))
	if c.Unloading != nil {
		d.Path("down", trace(c.Unloading))
	}
	for _, one := range r.Rows {
		d.Dot(one.Direction == figures.Down, one.Reference, one.Raw)
	}
	return d.Done()
}

// residuals draws what the calibration is off at each reading, with twice its
// combined standard uncertainty.
func residuals(r *record.Record, rows []record.Residual) template.HTML {
	c := &r.Calibration
	var upper, lower []paper.Point
	most := 0.0
	for i := range 81 {
		p := c.MMHg.Low + c.MMHg.Span()*float64(i)/80
		_, u := c.At(c.Inverse(p))
		most = max(most, 2*u)
		upper, lower = append(upper, paper.Point{X: p, Y: 2 * u}), append(lower, paper.Point{X: p, Y: -2 * u})
	}
	for _, one := range rows {
		most = max(most, math.Abs(one.Left))
	}
	d := paper.Draw("Fitted less reference pressure, with twice the combined standard uncertainty", paper.Half, axis("mmHg", c.MMHg), axis("mmHg off", curve.Range{Low: -most, High: most}))
	d.Between("band", upper, lower)
	d.Line("axis", c.MMHg.Low, 0, c.MMHg.High, 0)
	for _, one := range rows {
		d.Dot(one.Direction == figures.Down, one.Reference, one.Left)
	}
	return d.Done()
}
