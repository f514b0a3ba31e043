package config

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// columnsOf parses a file whose one bridge has the given columns.
func columnsOf(t *testing.T, delimited, sources string) *frame.Delimited {
	t.Helper()
	c := parse(t, fmt.Appendf(nil, `
bridges:
  - id: b
    link: {file: {path: x.csv}}
    format: delimited
    delimited: %s
    sources: [%s]
`, delimited, sources))
	return c.Bridges[0].Delimited
}

func TestDelimited(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	const one = "{number: 0, id: s, channels: 3, rate: 1}"
	for _, tt := range []struct {
		name, delimited, sources string
		want                     frame.Delimited
	}{
		{
			"the least", "{time: {column: 0}, channels: [1-3]}", one,
			frame.Delimited{Separator: ",", Time: frame.TimeColumn{As: frame.InSeconds}, Channels: []int{1, 2, 3},
				Source: frame.SourceColumn{Column: -1}, Empty: []string{""}, Decimal: '.'},
		},
		{
			"everything", `{separator: ";", header_lines: 2, columns: 9, time: {column: 4, as: "02.01.2006 15:04:05", zone: Europe/Berlin},
      channels: [8, 1-2], empty: [NA, -999, ""], decimal: ",", source: {column: 0, is: {seat: 0, back: 7}}}`,
			one + ", {number: 7, id: t, channels: 3, rate: 1}",
			frame.Delimited{Separator: ";", HeaderLines: 2, Columns: 9,
				Time:     frame.TimeColumn{Column: 4, As: frame.InLayout, Layout: "02.01.2006 15:04:05", Zone: berlin},
				Channels: []int{8, 1, 2}, Source: frame.SourceColumn{Column: 0, Is: map[string]uint16{"seat": 0, "back": 7}},
				Empty: []string{"NA", "-999", ""}, Decimal: ','},
		},
		{
			"no time column", `{separator: space, time: {period: 250ms, start: 2026-11-25T08:00:00Z}, channels: [0-2]}`, one,
			frame.Delimited{Separator: "space",
				Time:     frame.TimeColumn{Column: -1, Period: 250 * time.Millisecond, Start: sample.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))},
				Channels: []int{0, 1, 2}, Source: frame.SourceColumn{Column: -1}, Empty: []string{""}, Decimal: '.'},
		},
		{
			"tab and an offset", `{separator: '\t', time: {column: 0, as: "2006-01-02T15:04:05Z07:00"}, channels: [1-3]}`, one,
			frame.Delimited{Separator: "\t", Time: frame.TimeColumn{As: frame.InLayout, Layout: "2006-01-02T15:04:05Z07:00"},
				Channels: []int{1, 2, 3}, Source: frame.SourceColumn{Column: -1}, Empty: []string{""}, Decimal: '.'},
		},
		{
			"minutes, and a tab as YAML writes it", `{separator: "\t", time: {column: 0, as: "2006-01-02 15:04", zone: UTC}, channels: [1-3]}`, one,
			frame.Delimited{Separator: "\t", Time: frame.TimeColumn{As: frame.InLayout, Layout: "2006-01-02 15:04", Zone: time.UTC},
				Channels: []int{1, 2, 3}, Source: frame.SourceColumn{Column: -1}, Empty: []string{""}, Decimal: '.'},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := columnsOf(t, tt.delimited, tt.sources)
			sameZone := cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })
			if d := cmp.Diff(&tt.want, got, sameZone, cmpopts.EquateEmpty()); d != "" {
				t.Error(d)
			}
		})
	}
}
