package sheet

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/record"
)

const (
	width, height            = 420.0, 300.0
	left, right, top, bottom = 54.0, 12.0, 12.0, 40.0
)

// A drawing is an SVG with axes.
type drawing struct {
	x, y curve.Range
	b    strings.Builder
}

func draw(title, xName, yName string, x, y curve.Range) *drawing {
	d := &drawing{x: x, y: y}
	fmt.Fprintf(&d.b, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, width, height, template.HTMLEscapeString(title))
	for _, v := range ticks(x) {
		d.line("grid", v, y.Low, v, y.High)
		fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, d.px(v), height-bottom+15, number(v))
	}
	for _, v := range ticks(y) {
		d.line("grid", x.Low, v, x.High, v)
		fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, left-5, d.py(v)+4, number(v))
	}
	fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, width-right, height-6, xName)
	fmt.Fprintf(&d.b, `<text transform="translate(12 %.1f) rotate(-90)" text-anchor="end">%s</text>`, top, yName)
	return d
}

func (d *drawing) px(v float64) float64 {
	return left + (v-d.x.Low)/d.x.Span()*(width-left-right)
}

func (d *drawing) py(v float64) float64 {
	return height - bottom - (v-d.y.Low)/d.y.Span()*(height-top-bottom)
}

func (d *drawing) line(class string, x0, y0, x1, y1 float64) {
	fmt.Fprintf(&d.b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, d.px(x0), d.py(y0), d.px(x1), d.py(y1))
}

func (d *drawing) path(class string, points [][2]float64) {
	fmt.Fprintf(&d.b, `<path class="%s" d="`, class)
	for i, p := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&d.b, "%s%.1f %.1f", letter, d.px(p[0]), d.py(p[1]))
	}
	d.b.WriteString(`"/>`)
}

func (d *drawing) dot(down bool, x, y float64) {
	class := "up"
	if down {
		class = "down"
	}
	fmt.Fprintf(&d.b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="3"/>`, class, d.px(x), d.py(y))
}

func (d *drawing) done() template.HTML {
	fmt.Fprintf(&d.b, `<path class="axis" d="M%g %gV%gH%g"/></svg>`, left, top, height-bottom, width-right)
	return template.HTML(d.b.String()) // made of numbers and of the words in this file
}

// ticks are round numbers, about five, within r.
func ticks(r curve.Range) (out []float64) {
	step := math.Pow(10, math.Floor(math.Log10(r.Span()/5)))
	for _, m := range []float64{1, 2, 5, 10} {
		if r.Span()/(step*m) <= 6 {
			step *= m
			break
		}
	}
	for v := math.Ceil(r.Low/step) * step; v <= r.High+step/1e6; v += step {
		out = append(out, math.Round(v/step)*step+0) // + 0 makes 0 of -0
	}
	return out
}

func padded(r curve.Range) curve.Range {
	pad := 0.04 * r.Span()
	return curve.Range{Low: r.Low - pad, High: r.High + pad}
}

// loop draws counts against pressure, which is how a sensor is seen, though the
// curve goes the other way.
func loop(r *record.Record) template.HTML {
	c := &r.Calibration
	d := draw("Counts against reference pressure, loading and unloading", "mmHg", "counts", padded(c.MMHg), padded(c.Raw))
	trace := func(k *curve.Curve) (out [][2]float64) {
		for i := range 121 {
			raw := c.Raw.Low + c.Raw.Span()*float64(i)/120
			if p := k.At(raw); padded(c.MMHg).Has(p) {
				out = append(out, [2]float64{p, raw})
			}
		}
		return out
	}
	d.path("up", trace(&c.Loading))
	if c.Unloading != nil {
		d.path("down", trace(c.Unloading))
	}
	for _, one := range r.Rows {
		d.dot(one.Direction == figures.Down, one.Reference, one.Raw)
	}
	return d.done()
}

// residuals draws what the calibration is off at each reading, with twice its
// combined standard uncertainty.
func residuals(r *record.Record, rows []record.Residual) template.HTML {
	c := &r.Calibration
	var upper, lower [][2]float64
	most := 0.0
	for i := range 81 {
		p := c.MMHg.Low + c.MMHg.Span()*float64(i)/80
		_, u := c.At(c.Inverse(p))
		most = max(most, 2*u)
		upper, lower = append(upper, [2]float64{p, 2 * u}), append(lower, [2]float64{p, -2 * u})
	}
	for _, one := range rows {
		most = max(most, math.Abs(one.Left))
	}
	d := draw("Fitted less reference pressure, with twice the combined standard uncertainty", "mmHg", "mmHg off", padded(c.MMHg), padded(curve.Range{Low: -most, High: most}))
	for i := len(lower) - 1; i >= 0; i-- {
		upper = append(upper, lower[i])
	}
	d.path("band", upper)
	d.line("axis", c.MMHg.Low, 0, c.MMHg.High, 0)
	for _, one := range rows {
		d.dot(one.Direction == figures.Down, one.Reference, one.Left)
	}
	return d.done()
}
