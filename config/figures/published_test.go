package figures

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/study"
	"weald/rules/compression"
	"weald/rules/exposure"
	"weald/rules/posture"
)

// What is listed of others is what the program has of them, and what the handbook says.
func TestWhatOthersPublishedIsListed(t *testing.T) {
	left := ofOthers()
	handbook := parts(t)
	for _, f := range Others() {
		if part, ok := strings.CutPrefix(f.Name, "handbook#"); ok {
			part, _, _ = strings.Cut(part, "/")
			if !strings.Contains(handbook[part], f.Value) {
				t.Errorf("%s: the handbook does not say %q there", f.Name, f.Value)
			}
			continue
		}
		want, ok := left[f.Name]
		switch {
		case !ok:
			t.Errorf("there is no %s in the program", f.Name)
		case f.Value != want.Value || want.Source != "" && f.Source != want.Source:
			t.Errorf("%s is %q from %q, and %q from %q is listed", f.Name, want.Value, want.Source, f.Value, f.Source)
		}
		delete(left, f.Name)
	}
	for name := range left {
		t.Errorf("%s is not listed", name)
	}
}

// ofOthers is what the program has, by name; without a source where it says none.
func ofOthers() map[string]Figure {
	all := map[string]Figure{}
	for _, s := range compression.Schemes() {
		var bands, above []string
		for _, c := range s.Classes {
			bands = append(bands, c.Name+span(c.Low, c.High))
			above = append(above, c.Name+span(100*c.Least, 100*c.Most))
		}
		all["rules/compression."+s.ID] = Figure{Value: strings.Join(bands, ", ") + " mmHg", Source: s.Source}
		if s.Above != "" {
			all["rules/compression."+s.ID+".above"] = Figure{Value: strings.Join(above, ", ") + " %", Source: s.Above}
		}
	}
	for _, name := range exposure.Names() {
		m, _ := exposure.Published(name)
		all["rules/exposure."+name] = Figure{Value: formulas[name], Source: m.Source}
	}
	u := study.Usual
	all["rules/posture.FittedTo"] = Figure{Value: strings.Join(posture.FittedTo, ", ")}
	all["ingest/calib/study.Usual"] = Figure{Value: fmt.Sprintf("noise %g, loop %g, cycle %g, repeat %g, gauge %g mmHg; creep %g a decade", u.Noise, u.Loop, u.Cycle, u.Repeat, u.Gauge, u.Creep)}
	return all
}

func span(low, high float64) string {
	switch {
	case low == 0:
		return fmt.Sprintf(" to %g", high)
	case math.IsInf(high, 1):
		return fmt.Sprintf(" from %g", low)
	}
	return fmt.Sprintf(" %g to %g", low, high)
}

var formulas = map[string]string{
	exposure.LinderGanz:    "23 / (1 + exp(0.15 (t - 95))) + 8 kPa, t in min",
	exposure.ReswickRogers: "650 exp(-1.1469 t) + 457 exp(-0.4905 t) + 77 exp(-0.1117 t) mmHg, t in h",
}

// The formulas that are listed are those that the program works with.
func TestFormulasOfTheModels(t *testing.T) {
	number := regexp.MustCompile(`-?\d+(\.\d+)?`)
	numbers := func(name string) (all []float64) {
		for _, s := range number.FindAllString(formulas[name], -1) {
			all = append(all, mustFloat(s))
		}
		return all
	}
	rats, people := numbers(exposure.LinderGanz), numbers(exposure.ReswickRogers)
	for _, at := range []time.Duration{30 * time.Minute, 95 * time.Minute, 4 * time.Hour, 12 * time.Hour} {
		x, h := at.Minutes(), at.Hours()
		// 23 / (1 + exp(0.15 (t - 95))) + 8
		if want := rats[0]/(rats[1]+math.Exp(rats[2]*(x-rats[3]))) + rats[4]; math.Abs(exposure.SigmoidKPa(at)-want) > 1e-9 {
			t.Errorf("of rats at %v: %v, and the formula has %v", at, exposure.SigmoidKPa(at), want)
		}
		want := people[0]*math.Exp(people[1]*h) + people[2]*math.Exp(people[3]*h) + people[4]*math.Exp(people[5]*h)
		if math.Abs(exposure.GuidelineMMHg(at)-want) > 1e-9 {
			t.Errorf("of people at %v: %v, and the formula has %v", at, exposure.GuidelineMMHg(at), want)
		}
	}
}

// parts are the parts of the handbook by their address.
func parts(t *testing.T) map[string]string {
	t.Helper()
	b, err := os.ReadFile("../../webui/src/handbook/en.md")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(strings.Join(strings.Fields(string(b)), " "), "**", "")
	all := map[string]string{}
	heads := regexp.MustCompile(`\{#([\w-]+)\}`).FindAllStringSubmatchIndex(text, -1)
	for i, h := range heads {
		end := len(text)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		all[text[h[2]:h[3]]] = text[h[1]:end]
	}
	return all
}
