package config

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"weald/ingest/calib"
	"weald/rules"
	"weald/rules/alert"
)

func ward(t *testing.T) *Config {
	t.Helper()
	return load(t, "testdata/ward.yaml")
}

// minimal returns a file with one bridge, and room for more at its end.
func minimal(rest string) []byte {
	return []byte(`
bridges:
  - id: b
    link: {serial: {port: /dev/ttyACM0}}
    format: packed
    sources: [{number: 0, id: s, channels: 4096, rate: 2}]
` + rest)
}

func load(t *testing.T, file string) *Config {
	t.Helper()
	c, problems := Load(file)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return c
}

func parse(t *testing.T, text []byte) *Config {
	t.Helper()
	c, problems := Parse("folder/x.yaml", text)
	if len(problems) > 0 {
		t.Fatalf("%v\nin\n%s", problems, text)
	}
	return c
}

func TestBridges(t *testing.T) {
	got := ward(t).Bridges[:3]
	none := calib.None
	want := []Bridge{
		{
			ID: "trolley", Format: FormatLine,
			Link: Link{Serial: &Serial{Port: "/dev/ttyACM0", Baud: 115200}},
			Sources: []Source{{
				ID: "trolley/leg", Channels: 4, Rate: 10, StaleAfter: 3 * time.Second, Unit: Counts,
				Lines: []calib.Line{{Slope: 0.11, Offset: -2.5, U: 1.5}, {Slope: 0.11, Offset: -2.5, U: 1.5}, {Slope: 0.12, U: 1.8}, {Slope: 0.12, U: 1.8}},
			}},
		},
		{
			ID: "hub", Format: FormatPacked, Capture: "/var/lib/weald/hub.wcap",
			Link: Link{Serial: &Serial{USB: &USB{Vendor: "2E8A", Product: "000A"}, Baud: 115200}},
			Sources: []Source{
				{Number: 4, ID: "hub/mat4", Index: 1, Channels: 2048, Rate: 1, StaleAfter: 3 * time.Second, Unit: Counts,
					Lines: slices.Repeat([]calib.Line{{Slope: 0.05, U: 3}}, 2048)},
				{Number: 5, ID: "hub/mat5", Index: 2, Channels: 2048, Rate: 1, StaleAfter: 3 * time.Second, Unit: Counts, SaturatesAt: 4000,
					Lines: slices.Repeat([]calib.Line{{Slope: 0.05, U: none.U}}, 2048)},
				{Number: 9, ID: "hub/cushion", Index: 3, Channels: 256, Rate: 10, StaleAfter: time.Second, Unit: Counts},
			},
		},
		{
			ID: "logger", Format: FormatDelimited,
			Link:    Link{File: &File{Path: "testdata/k07.csv", Fast: true}},
			Sources: []Source{{ID: "logger/leg", Index: 4, Channels: 4, Rate: 2, StaleAfter: 1500 * time.Millisecond, Unit: MMHg}},
		},
	}
	if d := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Bridge{}, "Delimited")); d != "" {
		t.Error(d)
	}
}

func TestPartOfChannelsCalibrated(t *testing.T) {
	c := parse(t, []byte(`
bridges:
  - id: b
    link: {file: {path: x.wcap}}
    capture: y.wcap
    format: packed
    sources: [{number: 0, id: s, channels: 3, rate: 2, calibration: {channels: [1], slope: -2, offset: 1, u: 0.5}}]
`))
	b := c.Bridges[0]
	if l := b.Sources[0].Lines; !l[0].IsNone() || l[1] != (calib.Line{Slope: -2, Offset: 1, U: 0.5}) || !l[2].IsNone() {
		t.Errorf("lines %v", l)
	}
	s := c.Plan().Sources[0]
	if !s.Calibrated || !math.IsNaN(s.U[0]) || s.U[1] != 0.5 || !math.IsNaN(s.U[2]) {
		t.Errorf("source %+v", s)
	}
	if b.Link.File.Path != filepath.FromSlash("folder/x.wcap") || b.Link.File.Fast || b.Capture != filepath.FromSlash("folder/y.wcap") {
		t.Errorf("paths are not relative to the file: %+v, capture %s", b.Link.File, b.Capture)
	}
}

func TestPlan(t *testing.T) {
	c := ward(t)
	p := c.Plan()
	if found := p.Check(); len(found) > 0 {
		t.Fatalf("the plan has problems: %v", found)
	}
	for i, s := range p.Sources {
		if want := s.ID != "hub/cushion" && s.ID != "pad/seat"; s.Calibrated != want {
			t.Errorf("%s: calibrated is %v", s.ID, s.Calibrated)
		}
		if hasU := s.ID == "trolley/leg" || s.ID == "hub/mat4"; hasU != (s.U != nil) {
			t.Errorf("%s: u is %v", s.ID, s.U)
		}
		if i > 0 && s.StaleAfter < time.Second {
			t.Errorf("%s: stale after %v", s.ID, s.StaleAfter)
		}
	}
	lo, hi := 15.0, 25.0
	want := []rules.Rule{
		{ID: "ankle-too-tight", At: rules.Where{Kind: rules.Wrap}, Limit: &rules.Limit{Watch: "ankle.pressure", Above: new(60.0), Deadband: 3},
			OnDelay: 30 * time.Second, OffDelay: 10 * time.Second, ForgetAfter: rules.DefaultForgetAfter, Certainty: 0.5, Priority: alert.Medium},
		{ID: "calf-off-target", At: rules.Where{Place: "bench-1"}, Limit: &rules.Limit{Watch: "calf.pressure", Outside: &[2]float64{lo, hi}, Deadband: 1},
			OnDelay: time.Minute, ForgetAfter: rules.DefaultForgetAfter, Certainty: 0.5, Priority: alert.Low},
		{ID: "cell-loaded", At: rules.Where{Kind: rules.Bed}, Limit: &rules.Limit{Watch: "mat.pressure", Above: new(60.0)},
			OnDelay: 2 * time.Hour, ResetsAfter: 2 * time.Minute, ForgetAfter: 30 * time.Minute, While: "mat.area > 500", Certainty: 0.95, Priority: alert.High},
		{ID: "heels-down", At: rules.Where{Place: "bed-5"}, Limit: &rules.Limit{Watch: "heels.peak", Above: new(40.0), Deadband: 4},
			OnDelay: 30 * time.Minute, ForgetAfter: rules.DefaultForgetAfter, Certainty: 0.5, Priority: alert.Low, Latched: true, EscalateAfter: 10 * time.Minute},
	}
	if d := cmp.Diff(want, p.Rules); d != "" {
		t.Error(d)
	}
	ankle := p.Places[0].Sites[0]
	if d := cmp.Diff(rules.Site{ID: "ankle", HeightCM: 12, Channels: []rules.Channel{{Source: 0, Index: 0}, {Source: 0, Index: 1}}}, ankle); d != "" {
		t.Error(d)
	}
	mat := p.Places[3].Mat
	if mat.Source != 2 || mat.Rows != 64 || mat.Columns != 32 || mat.PitchMM != [2]float64{30, 25} || mat.LoadedAbove != 25 || mat.LoadedResets != 30*time.Second {
		t.Errorf("mat of bed-5: %+v", mat)
	}
	heels := mat.Regions[2]
	if heels.ID != "heels" || len(heels.Cells) != 6*24 || heels.Cells[0] != 4 || heels.Cells[24] != 36 || !slices.IsSorted(heels.Cells) {
		t.Errorf("heels of bed-5: %+v", heels)
	}
}

func TestPlaces(t *testing.T) {
	places := ward(t).Places
	ankle := places[0].Sites[0]
	if *ankle.HeightCM != 12 || *ankle.CircumferenceCM != 23.5 || *ankle.Target != [2]float64{35, 45} {
		t.Errorf("ankle: %+v", ankle)
	}
	other := places[1].Sites[0]
	if other.HeightCM != nil || other.CircumferenceCM != nil || other.Target != nil || len(other.Channels) != 4 {
		t.Errorf("what the file does not say is not nil: %+v", other)
	}
	if m := places[2].Mat; *m.PitchMM != [2]float64{25, 25} || m.Head != FirstRow || m.LoadedAbove != 20 || m.LoadedResets != 0 {
		t.Errorf("mat of bed-4: %+v", m)
	}
}

// A mat of unknown pitch has areas that are unknown, not zero.
func TestNoPitch(t *testing.T) {
	c := parse(t, minimal("places: [{id: p, kind: bed, mat: {source: b/s, rows: 64, columns: 64}}]\n"))
	if m := c.Plan().Places[0].Mat; !math.IsNaN(m.PitchMM[0]) || !math.IsNaN(m.PitchMM[1]) {
		t.Errorf("pitch %v", m.PitchMM)
	}
	if c.Places[0].Mat.PitchMM != nil {
		t.Error("the pitch is known")
	}
}

func TestDefaults(t *testing.T) {
	c := parse(t, minimal(""))
	if c.Listen != "127.0.0.1:8420" || c.Data != "" {
		t.Errorf("listen %q, data %q", c.Listen, c.Data)
	}
	if s := c.Bridges[0].Sources[0]; s.StaleAfter != 1500*time.Millisecond || s.Unit != Counts || s.Lines != nil || s.SaturatesAt != 0 {
		t.Errorf("source %+v", s)
	}
	if c.Plan().Sources[0].Calibrated {
		t.Error("counts without a calibration are said to be calibrated")
	}
}

func TestBadSettingsOfALife(t *testing.T) {
	base := "rules: [{id: r, limit: {watch: ankle.pressure, above: 60}, %s}]\n"
	for _, text := range []string{"latched: 3", "escalate_after: -5m", "escalate_after: 5"} {
		if _, problems := Parse("x", []byte(fmt.Sprintf(base, text))); len(problems) == 0 {
			t.Errorf("%s is taken", text)
		}
	}
}

func TestLoopback(t *testing.T) {
	for _, listen := range []string{"127.0.0.1:0", "127.8.0.1:8420", "[::1]:8420", "localhost:80"} {
		if c, problems := Parse("x", []byte("web: {listen: '"+listen+"'}")); len(problems) > 0 || c.Listen != listen {
			t.Errorf("%s: %v", listen, problems)
		}
	}
	for _, listen := range []string{"10.0.0.1:80", "[::]:80", "ward.invalid:80", "127.0.0.1", "127.0.0.1:65536", "127.0.0.1:080"} {
		if _, problems := Parse("x", []byte("web: {listen: '"+listen+"'}")); len(problems) != 1 {
			t.Errorf("%s: %v, want one problem", listen, problems)
		}
	}
	for with, want := range map[string]string{
		"tls: {self_signed: true}, accounts: required": "", "tls: {certificate: c.pem, key: k.pem}, accounts: required": "",
		"tls: {self_signed: true}": "give web.accounts, or 127.0.0.1:8420", "accounts: required": "give web.tls, or 127.0.0.1:8420",
	} {
		c, problems := Parse("x", []byte("data: record\nweb: {listen: '0.0.0.0:8420', names: [Weald.Larch.example, 10.0.0.5, 'FD00::5'], "+with+"}"))
		if got := fmt.Sprint(problems); want == "" != (len(problems) == 0) || !strings.Contains(got, want) {
			t.Errorf("%s: %v, want %q", with, problems, want)
		}
		if c != nil && (c.TLS == nil || !slices.Equal(c.Names, []string{"weald.larch.example", "10.0.0.5", "fd00::5"})) {
			t.Errorf("%s: %+v, names %q", with, c.TLS, c.Names)
		}
	}
}
