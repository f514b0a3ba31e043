package paper

import (
	"fmt"
	"html/template"
	"strings"
)

// A Size is that of a drawing in its own units, of which a page is 760 wide.
type Size struct{ Width, Height float64 }

// Sizes of drawings: two beside each other, and across the page.
var (
	Half = Size{420, 300}
	Lane = Size{760, 130}
)

const left, right, top = 54.0, 12.0, 12.0

// A Drawing is an SVG with axes.
type Drawing struct {
	size   Size
	x, y   Axis
	bottom float64 // for what is below the axis
	named  float64 // where the last name of an event ends
	b      strings.Builder
}

// A Point is one of a path, in the units of the axes.
type Point struct{ X, Y float64 }

// Draw begins a drawing; title is for those who hear it.
func Draw(title string, size Size, x, y Axis) *Drawing {
	d := &Drawing{size: size, x: x, y: y, bottom: 24}
	if x.Name != "" {
		d.bottom = 40
	}
	fmt.Fprintf(&d.b, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, size.Width, size.Height, template.HTMLEscapeString(title))
	for _, v := range x.ticks {
		d.Line("grid", v.at, y.Low, v.at, y.High)
		d.text(d.px(v.at), size.Height-d.bottom+15, "middle", v.text)
	}
	for _, v := range y.ticks {
		d.Line("grid", x.Low, v.at, x.High, v.at)
		d.text(left-5, d.py(v.at)+4, "end", v.text)
	}
	d.text(size.Width-right, size.Height-6, "end", x.Name)
	fmt.Fprintf(&d.b, `<text transform="translate(12 %.1f) rotate(-90)" text-anchor="end">%s</text>`, top, template.HTMLEscapeString(y.Name))
	return d
}

func (d *Drawing) text(x, y float64, anchor, text string) {
	if text != "" {
		fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, template.HTMLEscapeString(text))
	}
}

func (d *Drawing) px(v float64) float64 {
	return left + (v-d.x.Low)/d.x.span()*(d.size.Width-left-right)
}

func (d *Drawing) py(v float64) float64 {
	return d.size.Height - d.bottom - (v-d.y.Low)/d.y.span()*(d.size.Height-top-d.bottom)
}

// Line draws a straight line.
func (d *Drawing) Line(class string, x0, y0, x1, y1 float64) {
	fmt.Fprintf(&d.b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, d.px(x0), d.py(y0), d.px(x1), d.py(y1))
}

// Path draws a line through points.
func (d *Drawing) Path(class string, points []Point) {
	if len(points) == 0 {
		return
	}
	fmt.Fprintf(&d.b, `<path class="%s" d="`, class)
	for i, p := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&d.b, "%s%.1f %.1f", letter, d.px(p.X), d.py(p.Y))
	}
	d.b.WriteString(`"/>`)
}

// Between fills what lies between two lines that have the same X.
func (d *Drawing) Between(class string, upper, lower []Point) {
	around := append([]Point{}, upper...)
	for i := len(lower) - 1; i >= 0; i-- {
		around = append(around, lower[i])
	}
	d.Path(class, around)
}

// Dot draws a round mark, filled for loading and open for unloading.
func (d *Drawing) Dot(down bool, x, y float64) {
	class := "up"
	if down {
		class = "down"
	}
	fmt.Fprintf(&d.b, `<circle class="dot %s" cx="%.1f" cy="%.1f" r="3"/>`, class, d.px(x), d.py(y))
}

// Event draws a line across, with a number or a letter at its top, if there is room
// beside that of the one before.
func (d *Drawing) Event(x float64, name string) {
	d.Line("event", x, d.y.Low, x, d.y.High)
	if at := d.px(x) + 2; at > d.named {
		d.text(at, top+9, "start", name)
		d.named = at + 8*float64(len(name))
	}
}

// Done returns the whole drawing.
func (d *Drawing) Done() template.HTML {
	fmt.Fprintf(&d.b, `<path class="axis" d="M%g %gV%gH%g"/></svg>`, left, top, d.size.Height-d.bottom, d.size.Width-right)
	return template.HTML(d.b.String()) // made of numbers, and of texts that were escaped
}
