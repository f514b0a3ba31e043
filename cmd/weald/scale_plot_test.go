package main

import (
	"bytes"
	"fmt"
	"math"
	"slices"
)

// A panel is one drawing of TestScale: something, over the number of places, for each
// crowd. Both axes are logarithmic.
type panel struct {
	title     string
	low, high float64 // powers of ten
	of        func(*point) float64
	limit     float64 // a line to stay below; 0 for none
}

var panels = []panel{
	{"processors that the daemon keeps busy", -3, 1, func(p *point) float64 { return p.daemon }, 2},
	{"ms from the byte to the alert, p99", 0, 4, func(p *point) float64 { return float64(p.p99) / 1e6 }, float64(alertWithin) / 1e6},
	{"MB of memory", 1, 4, func(p *point) float64 { return p.mb }, 0},
}

const (
	plotWide, plotHigh = 300.0, 240.0 // of a panel, px
	plotLeft, plotTop  = 60.0, 60.0   // where the first begins
	plotGap            = 70.0
	mostPlaces         = 4 // of the axis, as a power of ten
)

// Colours that are told apart by people who see few of them, and shapes for all others
// (Okabe and Ito, Color Universal Design, 2008).
var (
	plotColours = []string{"#0072b2", "#d55e00", "#009e73", "#cc79a7"}
	plotDashes  = []string{"", "6 3", "2 3", "8 3 2 3"}
)

// plotScale draws points as SVG.
func plotScale(points []point) []byte {
	var b bytes.Buffer
	width, height := plotLeft+float64(len(panels))*(plotWide+plotGap), plotTop+plotHigh+90
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12" fill="#222">`+"\n", width, height)
	fmt.Fprintf(&b, "<title>What one daemon carries</title>\n<rect width=\"%g\" height=\"%g\" fill=\"#fff\"/>\n", width, height)
	for k, one := range panels {
		one.draw(&b, plotLeft+float64(k)*(plotWide+plotGap), points)
	}
	for k, l := range crowds {
		x, y := plotLeft+float64(k)*260, height-18
		fmt.Fprintf(&b, `<path d="M%g %gh30" stroke="%s" stroke-dasharray="%s" stroke-width="2"/><text x="%g" y="%g">%s</text>`+"\n", x, y-4, plotColours[k], plotDashes[k], x+36, y, l.name)
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func (one *panel) draw(b *bytes.Buffer, left float64, points []point) {
	x := func(places float64) float64 { return left + plotWide*math.Log10(places)/mostPlaces }
	y := func(v float64) float64 {
		return plotTop + plotHigh*(1-(math.Log10(v)-one.low)/(one.high-one.low))
	}
	fmt.Fprintf(b, `<text x="%g" y="%g" font-size="13">%s</text>`+"\n", left, plotTop-18, one.title)
	for e := one.low; e <= one.high; e++ {
		at := y(math.Pow(10, e))
		fmt.Fprintf(b, `<path d="M%g %gh%g" stroke="#ccc"/><text x="%g" y="%g" text-anchor="end">%g</text>`+"\n", left, at, plotWide, left-6, at+4, math.Pow(10, e))
	}
	for e := 0.0; e <= mostPlaces; e++ {
		at := x(math.Pow(10, e))
		fmt.Fprintf(b, `<path d="M%g %gv%g" stroke="#ccc"/><text x="%g" y="%g" text-anchor="middle">%g</text>`+"\n", at, plotTop, plotHigh, at, plotTop+plotHigh+18, math.Pow(10, e))
	}
	fmt.Fprintf(b, `<text x="%g" y="%g" text-anchor="middle">places</text>`+"\n", left+plotWide/2, plotTop+plotHigh+36)
	if one.limit > 0 {
		fmt.Fprintf(b, `<path d="M%g %.1fh%g" stroke="#222"/>`+"\n", left, y(one.limit), plotWide)
	}
	for _, p := range points {
		k := slices.IndexFunc(crowds, func(l crowd) bool { return l.name == p.crowd })
		if v := one.of(&p); v > 0 {
			fill := plotColours[k]
			if !p.carried() {
				fill = "#fff"
			}
			v = min(max(v, math.Pow(10, one.low)), math.Pow(10, one.high))
			fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="4" stroke="%s" fill="%s"/>`+"\n", x(float64(p.places)), y(v), plotColours[k], fill)
		}
	}
	for k, l := range crowds {
		path := ""
		for _, p := range points {
			if v := one.of(&p); p.crowd == l.name && v > 0 {
				v = min(max(v, math.Pow(10, one.low)), math.Pow(10, one.high))
				path += fmt.Sprintf("%c%.1f %.1f", "ML"[min(1, len(path))], x(float64(p.places)), y(v))
			}
		}
		if path != "" {
			fmt.Fprintf(b, `<path d="%s" fill="none" stroke="%s" stroke-dasharray="%s" stroke-width="1.5"/>`+"\n", path, plotColours[k], plotDashes[k])
		}
	}
}
