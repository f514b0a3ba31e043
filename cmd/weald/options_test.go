package main

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"weald/config/figures"
)

// Every number that an option has by default is listed with where it is from, and
// nothing else is.
func TestDefaultsOfOptionsAreListed(t *testing.T) {
	listed := map[string]figures.Figure{}
	for _, f := range figures.Options() {
		listed[f.Name] = f
	}
	found := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			name := c.CommandPath() + " --" + f.Name
			if !numeric(f) {
				return
			}
			found++
			if got := listed[name].Value; got != shown(f) {
				t.Errorf("%s is %s by default, and %q is listed: %s", name, shown(f), got, f.Usage)
			}
			delete(listed, name)
		})
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot())
	for name := range listed {
		t.Errorf("%s is listed, and has no number by default", name)
	}
	if found < 10 {
		t.Errorf("%d options were found", found)
	}
}

// numeric reports whether an option has a number by default that says something.
func numeric(f *pflag.Flag) bool {
	switch f.Value.Type() {
	case "float64", "int", "uint64", "duration":
		return f.DefValue != "0" && f.DefValue != "0s" && f.DefValue != "NaN" && f.DefValue != "-1"
	}
	return false
}

// shown is a default as people write it: six digits at most, and 90d rather than
// 2160h0m0s.
func shown(f *pflag.Flag) string {
	if x, err := strconv.ParseFloat(f.DefValue, 64); err == nil {
		return strconv.FormatFloat(x, 'g', 6, 64)
	}
	d, err := time.ParseDuration(f.DefValue)
	switch {
	case f.Value.Type() != "duration" || err != nil:
		return f.DefValue
	case d%(24*time.Hour) == 0:
		return fmt.Sprintf("%dd", d/(24*time.Hour))
	}
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}
