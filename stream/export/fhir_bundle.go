package export

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"weald/ingest/sample"
)

// The elements of FHIR R4 that are used here, in the order of the standard
// (hl7.org/fhir/R4/observation.html).
type (
	fhirObservation struct {
		Resource   string           `json:"resourceType"`
		Identifier []fhirIdentifier `json:"identifier"`
		Status     string           `json:"status"`
		Code       fhirConcept      `json:"code"`
		Subject    *fhirReference   `json:"subject,omitempty"`
		Encounter  *fhirReference   `json:"encounter,omitempty"`
		Effective  fhirPeriod       `json:"effectivePeriod"`
		Value      *fhirSampled     `json:"valueSampledData,omitempty"`
		Absent     *fhirConcept     `json:"dataAbsentReason,omitempty"`
		Note       []fhirNote       `json:"note"`
		BodySite   *fhirConcept     `json:"bodySite,omitempty"`
		Device     fhirReference    `json:"device"`
		Component  []fhirComponent  `json:"component,omitempty"`
	}
	fhirIdentifier struct {
		Value string `json:"value"`
	}
	fhirReference struct {
		Type       string         `json:"type"`
		Identifier fhirIdentifier `json:"identifier"`
		Display    string         `json:"display,omitempty"`
	}
	fhirConcept struct {
		Coding []fhirCoding `json:"coding,omitempty"`
		Text   string       `json:"text"`
	}
	fhirCoding struct {
		System string `json:"system"`
		Code   string `json:"code"`
	}
	fhirPeriod struct {
		Start string `json:"start"`
		End   string `json:"end"`
	}
	fhirNote struct {
		Text string `json:"text"`
	}
	fhirComponent struct {
		Code  fhirConcept  `json:"code"`
		Value *fhirSampled `json:"valueSampledData"`
	}
	fhirSampled struct {
		Origin     fhirQuantity `json:"origin"`
		Period     json.Number  `json:"period"` // milliseconds
		Factor     json.Number  `json:"factor"`
		LowerLimit json.Number  `json:"lowerLimit,omitempty"`
		UpperLimit json.Number  `json:"upperLimit,omitempty"`
		Dimensions int          `json:"dimensions"`
		Data       string       `json:"data"`
	}
	fhirQuantity struct {
		Value  int    `json:"value"`
		Unit   string `json:"unit,omitempty"`
		System string `json:"system,omitempty"`
		Code   string `json:"code,omitempty"`
	}
	fhirEntry struct {
		FullURL  string          `json:"fullUrl"`
		Resource json.RawMessage `json:"resource"`
	}
)

// space is that of the names of Observations: the same one has the same name.
var space = uuid.MustParse("5b0f2c0e-6f0d-4c53-9d0a-7c1f6a0d3e21")

// ucum are the codes of the Unified Code for Units of Measure (ucum.org).
var ucum = map[string]string{
	"mmHg": "mm[Hg]", "cm2": "cm2", "N": "N", "%": "%", "degC": "Cel", "": "1", "1": "1",
}

// A bundle is written as its Observations come.
type bundle struct {
	p      *part
	header *Header
	first  bool
	err    error
}

func newBundle(p *part, h *Header) *bundle {
	b := &bundle{p: p, header: h, first: true}
	b.write([]byte(`{"resourceType":"Bundle","type":"collection","entry":[`))
	return b
}

func (b *bundle) write(text []byte) {
	if b.err == nil {
		_, b.err = b.p.Write(text)
	}
}

func (b *bundle) end() error {
	b.write([]byte("\n]}\n"))
	return b.err
}

// put writes an Observation as an entry.
func (b *bundle) put(o *fhirObservation) {
	resource, err := plainJSON(o)
	if err != nil && b.err == nil {
		b.err = err
	}
	entry, err := plainJSON(fhirEntry{"urn:uuid:" + uuid.NewSHA1(space, resource).String(), resource})
	if err != nil && b.err == nil {
		b.err = err
	}
	if !b.first {
		b.write([]byte{','})
	}
	b.first = false
	b.write([]byte{'\n'})
	b.write(entry)
}

// plainJSON is JSON that leaves < and > as they are: nobody puts it into a page.
func plainJSON(v any) ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(out.Bytes(), []byte{'\n'}), err
}

// about begins the Observation of a series.
func (b *bundle) about(s *series, of Session, from, to sample.Instant) *fhirObservation {
	h := b.header
	o := &fhirObservation{
		Resource: "Observation", Status: "preliminary",
		Identifier: []fhirIdentifier{{h.Place + "/" + s.Name + "/" + from.Time().UTC().Format(time.RFC3339Nano)}},
		Code:       fhirConcept{Text: meaning(s.Name)},
		Effective:  fhirPeriod{b.stamp(from), b.stamp(to)},
		Device:     fhirReference{"Device", fhirIdentifier{h.Place}, "sensors of " + h.Place + ", read by " + h.program()},
	}
	if h.Caution != "" {
		o.note("%s", h.Caution)
	}
	if of.Person != "" {
		o.Subject = &fhirReference{Type: "Patient", Identifier: fhirIdentifier{of.Person}}
	}
	if of.ID != "" {
		o.Encounter = &fhirReference{Type: "Encounter", Identifier: fhirIdentifier{of.ID}}
	}
	if site, what, _ := strings.Cut(s.Name, "."); meanings[what] != "" && site != "mat" {
		o.BodySite = &fhirConcept{Text: site}
	}
	return o
}

func (o *fhirObservation) note(format string, args ...any) {
	o.Note = append(o.Note, fhirNote{fmt.Sprintf(format, args...)})
}

func (b *bundle) stamp(at sample.Instant) string {
	return at.Time().In(b.header.zone()).Format(time.RFC3339Nano)
}

// absent writes that nothing was ever known.
func (b *bundle) absent(s *series) {
	o := b.about(s, b.header.whose(), b.header.Start, b.header.End)
	o.Absent = &fhirConcept{
		Coding: []fhirCoding{{"http://terminology.hl7.org/CodeSystem/data-absent-reason", "unknown"}},
		Text:   "not known at any time of this period",
	}
	b.put(o)
}

// observation writes what waits in a series, if anything does.
func (b *bundle) observation(s *series) {
	if s.count == 0 {
		return
	}
	o := b.about(s, s.stretches[s.of], s.at(s.first), s.at(s.first+s.count-1))
	o.Value = s.sampled(s.data, s.Unit, s.decimals)
	if s.ranged() {
		o.Value.LowerLimit, o.Value.UpperLimit = number(s.Low), number(s.High)
	}
	if s.certain > 0 {
		o.Component = append(o.Component, fhirComponent{fhirConcept{Text: uncertaintyText}, s.sampled(s.us, s.Unit, s.decimalsU)})
	}
	if s.beyond+s.past > 0 {
		o.Component = append(o.Component, fhirComponent{fhirConcept{Text: doubtText}, s.sampled(s.doubts, "", 0)})
	}
	how := "in force at its instant (zero-order hold)"
	if s.regular {
		how = "nearest to its instant"
	}
	o.note("Each sample is the reading %s, held for %v at most. %d of %d samples are unknown (E).", how, s.stale.Round(time.Microsecond), s.unknown, s.count)
	o.note("%s", s.certainty())
	o.note("%s", s.standing())
	b.put(o)
	s.begin()
}

const (
	uncertaintyText = "standard uncertainty of the value of the same sample (JCGM 100, k = 1)"
	doubtText       = "doubt about the value of the same sample: 0 none, 1 outside of what its sensor was calibrated for, 2 made by a calibration that was past its date, 3 both"
)

// certainty says what is known of the uncertainty.
func (s *series) certainty() string {
	known := s.count - s.unknown
	if s.certain == 0 {
		return "The uncertainty of these values is not known."
	}
	return fmt.Sprintf("The standard uncertainty of %d of %d values is known, %s at most in the whole export: see the component.",
		s.certain, known, unitText(s.mostU, s.decimalsU, s.Unit))
}

// standing says what is known of the calibrations.
func (s *series) standing() string {
	known := s.count - s.unknown
	if s.told == 0 {
		return "Whether the calibrations held is not known."
	}
	said := fmt.Sprintf("Of %d values, %d lie outside of what their sensors were calibrated for, and %d were made by a calibration that was past its date",
		known, s.beyond, s.past)
	if s.told < known {
		said += fmt.Sprintf("; of %d it is not known", known-s.told)
	}
	if s.beyond+s.past > 0 {
		return said + ": see the component."
	}
	return said + "."
}

func unitText(v float64, decimals int, unit string) string {
	return strings.TrimSpace(strconv.FormatFloat(v, 'f', max(0, decimals), 64) + " " + unit)
}

// sampled returns tokens as SampledData.
func (s *series) sampled(tokens []byte, unit string, decimals int) *fhirSampled {
	origin := fhirQuantity{Unit: unit}
	if code, known := ucum[unit]; known {
		origin.System, origin.Code = "http://unitsofmeasure.org", code
	}
	return &fhirSampled{
		Origin: origin, Period: number(s.duration.Seconds() * 1e3 / float64(s.n)), Factor: number(math.Pow10(-decimals)), Dimensions: 1,
		Data: string(bytes.TrimSuffix(tokens, []byte{' '})),
	}
}

// number writes v without an exponent.
func number(v float64) json.Number { return json.Number(strconv.FormatFloat(v, 'f', -1, 64)) }

// meanings are what the second part of a signal's name says.
var meanings = map[string]string{
	"pressure": "pressure between the body and what presses on it",
	"peak":     "pressure between the body and what presses on it, highest cell",
	"mean":     "pressure between the body and what presses on it, mean of the cells in contact",
	"area":     "area in contact with the body",
	"load":     "force between the body and what presses on it, from pressure and area of all cells",
}

// meaning says what a signal is, with its name.
func meaning(name string) string {
	if _, what, _ := strings.Cut(name, "."); meanings[what] != "" {
		return meanings[what] + " (" + name + ")"
	}
	return name
}
