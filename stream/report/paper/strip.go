package paper

import (
	"fmt"
	"html/template"
	"strings"
)

// A Strip is one row of a drawing of what was so when: filled where it was, open
// where it was not, hatched where that is not known.
type Strip struct {
	Name string
	Runs []Run
}

// A Run is a stretch of a strip, in the units of the axis. What is in no run was not
// so.
type Run struct {
	From, To float64
	Unknown  bool
}

// Add adds a run, or makes the last one longer.
func (s *Strip) Add(from, to float64, unknown bool) {
	if n := len(s.Runs); n > 0 && s.Runs[n-1].To == from && s.Runs[n-1].Unknown == unknown {
		s.Runs[n-1].To = to
		return
	}
	s.Runs = append(s.Runs, Run{from, to, unknown})
}

const (
	stripNames = 110.0
	stripStep  = 20.0
)

// Strips draws rows over one axis of time.
func Strips(title string, x Axis, rows []Strip) template.HTML {
	var b strings.Builder
	width, height := Lane.Width, top+stripStep*float64(len(rows))+22
	px := func(v float64) float64 { return stripNames + (v-x.Low)/x.span()*(width-stripNames-right) }
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, width, height, template.HTMLEscapeString(title))
	for _, t := range x.ticks {
		fmt.Fprintf(&b, `<line class="grid" x1="%.1f" y1="%g" x2="%.1f" y2="%g"/>`, px(t.at), top, px(t.at), height-22)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, px(t.at), height-7, template.HTMLEscapeString(t.text))
	}
	for i, row := range rows {
		y := top + stripStep*float64(i)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, stripNames-6, y+14, template.HTMLEscapeString(row.Name))
		for _, r := range row.Runs {
			class := "yes"
			if r.Unknown {
				class = "unknown"
			}
			fmt.Fprintf(&b, `<rect class="%s" x="%.2f" y="%.1f" width="%.2f" height="%g"/>`, class, px(r.From), y+3, max(px(r.To)-px(r.From), 0.3), stripStep-6)
		}
		fmt.Fprintf(&b, `<line class="grid" x1="%g" y1="%g" x2="%g" y2="%g"/>`, stripNames, y+stripStep, width-right, y+stripStep)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String()) // made of numbers, and of texts that were escaped
}
