package frame

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

func TestCheckNamesTheField(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Delimited)
		want   string // fields, in order
	}{
		{"nothing wrong", func(*Delimited) {}, ""},
		{"no separator", func(c *Delimited) { c.Separator = "" }, "separator"},
		{"two characters", func(c *Delimited) { c.Separator = "||" }, "separator"},
		{"a blank", func(c *Delimited) { c.Separator = " " }, "separator"},
		{"a quote", func(c *Delimited) { c.Separator = `"` }, "separator"},
		{"a digit", func(c *Delimited) { c.Separator = "0" }, "separator"},
		{"a minus", func(c *Delimited) { c.Separator = "-" }, "separator"},
		{"decimal comma", func(c *Delimited) { c.Decimal = ',' }, "separator"},
		{"decimal semicolon", func(c *Delimited) { c.Decimal = ';' }, "decimal"},
		{"negative header", func(c *Delimited) { c.HeaderLines = -1 }, "header_lines"},
		{"too few columns", func(c *Delimited) { c.Columns = 4 }, "columns"},
		{"no form", func(c *Delimited) { c.Time.As = "" }, "time.as"},
		{"no layout", func(c *Delimited) { c.Time.As = InLayout }, "time.as"},
		{"layout without zone", func(c *Delimited) { c.Time.As, c.Time.Layout = InLayout, time.DateTime }, "time.zone"},
		{"layout with offset", func(c *Delimited) { c.Time.As, c.Time.Layout = InLayout, time.RFC1123Z }, ""},
		{"time column too far", func(c *Delimited) { c.Time.Column = 1 << 16 }, "time.column"},
		{"no period", func(c *Delimited) { c.Time = TimeColumn{Column: -1} }, "time.period"},
		{"no channels", func(c *Delimited) { c.Channels = nil }, "channels"},
		{"channel on the time", func(c *Delimited) { c.Channels = []int{1, 0} }, "channels[1]"},
		{"channel twice", func(c *Delimited) { c.Channels = []int{1, 2, 1} }, "channels[2]"},
		{"negative channel", func(c *Delimited) { c.Channels = []int{-1} }, "channels[0]"},
		{"channel too far", func(c *Delimited) { c.Channels = []int{1 << 16} }, "channels[0]"},
		{"source on a channel", func(c *Delimited) { c.Source = SourceColumn{1, map[string]uint16{"a": 1}} }, "source.column"},
		{"source too far", func(c *Delimited) { c.Source = SourceColumn{1 << 16, map[string]uint16{"a": 1}} }, "source.column"},
		{"source without names", func(c *Delimited) { c.Source = SourceColumn{Column: 7} }, "source.is"},
		{"all at once", func(c *Delimited) { *c = Delimited{Decimal: 'x'} }, "separator time.as channels decimal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := legLogger()
			c.change(&d)
			var fields []string
			for _, p := range d.Check() {
				fields = append(fields, p.Field)
				if p.Message == "" {
					t.Errorf("%s has no message", p.Field)
				}
			}
			if got := strings.Join(fields, " "); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			_, err := NewDelimited(d)
			if (err != nil) != (c.want != "") {
				t.Errorf("NewDelimited: %v", err)
			}
			for _, f := range fields {
				if !strings.Contains(err.Error(), "delimited: "+f+": ") {
					t.Errorf("%q is not in %v", f, err)
				}
			}
		})
	}
}

func TestAppendRow(t *testing.T) {
	f := &Frame{Kind: Readings, Source: 1, Wall: 1702378176106295000, Readings: []float64{1.5, math.NaN()}}
	c := Delimited{
		Separator: ";", Decimal: ',', Columns: 5, Empty: []string{"-1"},
		Time: TimeColumn{Column: 1, As: InSeconds}, Channels: []int{3, 2},
		Source: SourceColumn{0, map[string]uint16{"seat": 0, "the back": 1, "z": 1}},
	}
	if got, err := c.AppendRow(nil, f); err != nil || string(got) != "\"the back\";1702378176,106295;;1,5;\n" {
		t.Errorf("got %q, %v", got, err)
	}
	for name, bad := range map[string]Frame{
		"too few":  {Kind: Readings, Source: 1, Readings: []float64{1}},
		"status":   {Kind: Status, Source: 1, Readings: []float64{1, 2}},
		"a mark":   {Kind: Readings, Source: 1, Readings: []float64{1, -1}},
		"infinite": {Kind: Readings, Source: 1, Readings: []float64{1, math.Inf(1)}},
		"unnamed":  {Kind: Readings, Source: 2, Readings: []float64{1, 2}},
	} {
		if got, err := c.AppendRow([]byte("before"), &bad); err == nil || string(got) != "before" {
			t.Errorf("%s: got %q, %v, want what was there and an error", name, got, err)
		}
	}
	c.Time.As = InLayout
	c.Time.Layout, c.Time.Zone = time.DateTime, time.UTC
	if got, err := c.AppendRow(nil, f); err == nil {
		t.Errorf("a fraction of a second was lost in %q", got)
	}
	f.Wall = sample.Instant(1702378176e9)
	if got, err := c.AppendRow(nil, f); err != nil || !strings.Contains(string(got), `"2023-12-12 10:49:36"`) {
		t.Errorf("got %q, %v", got, err)
	}
}
