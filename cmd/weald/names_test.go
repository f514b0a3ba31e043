package main

import (
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"weald/config"
	"weald/ingest/calib/curve"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/access"
	"weald/stream/metrics"
	"weald/stream/selfwatch"
	"weald/webui/route"
)

// A named is a name, and what it is one of.
type named struct{ of, name string }

// Every name of a command, an option, a setting and so on is judged in testdata/names.tsv,
// and nothing else is; titles and labels of pages are held to it by webui/src/lib/names.test.ts.
func TestEveryNameIsJudged(t *testing.T) {
	judged, given := namesJudged(t), namesGiven(t)
	for n := range given {
		if judged[n] == "" {
			t.Errorf("%s %q is not judged: is it of the trade, of a standard or ours, and does it point to an existing program?", n.of, n.name)
		}
	}
	for n := range judged {
		if !given[n] && n.of != "page title" && n.of != "label" {
			t.Errorf("%s %q is judged, and there is none", n.of, n.name)
		}
	}
	if len(given) < 500 {
		t.Errorf("there are %d names only", len(given))
	}
}

// namesJudged reads the list.
func namesJudged(t *testing.T) map[named]string {
	t.Helper()
	b, err := os.ReadFile("testdata/names.tsv")
	if err != nil {
		t.Fatal(err)
	}
	all := map[named]string{}
	judgement := regexp.MustCompile(`^(trade|ours|standard: .+)$`)
	for line := range strings.Lines(string(b)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		cells := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if len(cells) != 3 || !judgement.MatchString(cells[1]) {
			t.Fatalf("%q is no line of names", line)
		}
		for name := range strings.SplitSeq(cells[2], " | ") {
			n := named{cells[0], name}
			if all[n] != "" {
				t.Errorf("%s %q is judged twice", n.of, n.name)
			}
			all[n] = cells[1]
		}
	}
	return all
}

// namesGiven are the names that the program has.
func namesGiven(t *testing.T) map[named]bool {
	all := map[named]bool{}
	namesOfCommands(newRoot(), all)
	namesOfSettings(t, all)
	for _, s := range alert.States() {
		all[named{"state", string(s)}] = true
	}
	for _, k := range selfwatch.Kinds {
		all[named{"self-watch", k.ID}] = true
	}
	for _, r := range route.All {
		all[named{"route", r.ID}] = true
		for part := range strings.SplitSeq(strings.TrimPrefix(r.Path, "/"), "/") {
			if part != "" && !strings.HasPrefix(part, "{") {
				all[named{"part of a path", part}] = true
			}
		}
	}
	for _, f := range rules.Faults {
		all[named{"fault", string(f)}] = true
	}
	for _, r := range access.Roles() {
		all[named{"role", r.String()}] = true
	}
	for _, m := range curve.Models {
		all[named{"model of a calibration", string(m)}] = true
	}
	namesOfSignals(all)
	namesOfMetrics(t, all)
	return all
}

// namesOfSignals are those of a wrap, a bed and a seat, without the site or region that
// they are of.
func namesOfSignals(all map[named]bool) {
	mat := func(source int) *rules.Mat {
		return &rules.Mat{Source: source, Rows: 32, Columns: 32, PitchMM: [2]float64{60, 30}, Regions: []rules.Region{{ID: "part", Cells: []int{0, 1}}}}
	}
	plan := rules.Plan{
		Sources: []rules.Source{{ID: "a", Channels: 2, StaleAfter: 1e9}, {ID: "b", Channels: 1024, StaleAfter: 1e9}, {ID: "c", Channels: 1024, StaleAfter: 1e9}},
		Places: []rules.Place{
			{ID: "leg", Kind: rules.Wrap, Sites: []rules.Site{{ID: "low", Channels: []rules.Channel{{}}}, {ID: "high", Channels: []rules.Channel{{Index: 1}}}}},
			{ID: "bed", Kind: rules.Bed, Mat: mat(1)},
			{ID: "seat", Kind: rules.Seat, Mat: mat(2)},
		},
	}
	engine := rules.NewEngine(&plan, nil)
	for place := range plan.Places {
		for _, s := range engine.Signals(place) {
			name := s.Name
			for _, of := range []string{"low.", "high.", "mat.", "part."} {
				name = strings.TrimPrefix(name, of)
			}
			all[named{"signal", name}] = true
		}
	}
}

func namesOfCommands(c *cobra.Command, all map[named]bool) {
	if c.HasParent() {
		all[named{"command", strings.TrimPrefix(c.CommandPath(), "weald ")}] = true
	}
	c.LocalFlags().VisitAll(func(f *pflag.Flag) { all[named{"option", "--" + f.Name}] = true })
	for _, sub := range c.Commands() {
		namesOfCommands(sub, all)
	}
}

func namesOfSettings(t *testing.T, all map[named]bool) {
	t.Helper()
	var schema struct {
		Defs map[string]struct {
			Properties map[string]struct {
				Ref  string `json:"$ref"`
				Enum []any
			}
		} `json:"$defs"`
	}
	if err := json.Unmarshal(config.Schema(), &schema); err != nil {
		t.Fatal(err)
	}
	for def, d := range schema.Defs {
		for key, p := range d.Properties {
			of := "setting"
			if def == "Rule" && (p.Ref != "" && key != "at" || key == "formula") {
				of = "kind of rule"
			}
			all[named{of, key}] = true
			for _, word := range p.Enum {
				all[named{"word of a setting", fmt.Sprint(word)}] = true
			}
		}
	}
}

func namesOfMetrics(t *testing.T, all map[named]bool) {
	t.Helper()
	name := regexp.MustCompile(`fqName: "(weald_\w+)"`)
	delay, _ := metrics.NewDelay()
	described := make(chan *prometheus.Desc)
	go func() {
		defer close(described)
		metrics.New(metrics.Options{Delay: delay}).Describe(described)
	}()
	var found []string
	for d := range described {
		if m := name.FindStringSubmatch(d.String()); m != nil {
			all[named{"metric", m[1]}] = true
			found = append(found, m[1])
		}
	}
	if !slices.Contains(found, "weald_rule_delay_seconds") || !slices.Contains(found, "weald_frames_total") {
		t.Errorf("of metrics only %v were found", found)
	}
}
