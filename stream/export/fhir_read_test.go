package export

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// What is read of a Bundle, by the names of the standard (hl7.org/fhir/R4).
type (
	readBundle struct {
		ResourceType, Type string
		Entry              []struct {
			FullURL  string
			Resource readObservation
		}
	}
	readObservation struct {
		ResourceType, Status string
		Identifier           []struct{ Value string }
		Code, BodySite       struct{ Text string }
		Subject, Encounter   *struct{ Identifier struct{ Value string } }
		Effective            struct{ Start, End time.Time } `json:"effectivePeriod"`
		Value                *readSampled                   `json:"valueSampledData"`
		Absent               *struct {
			Coding []struct{ System, Code string }
		} `json:"dataAbsentReason"`
		Note      []struct{ Text string }
		Component []struct {
			Code  struct{ Text string }
			Value readSampled `json:"valueSampledData"`
		}
	}
	readSampled struct {
		Origin struct {
			Value              float64
			Unit, System, Code string
		}
		Period                         float64
		Factor, LowerLimit, UpperLimit *float64
		Dimensions                     int
		Data                           string
	}
)

// sampledToken is what the data consist of by hl7.org/fhir/R4/datatypes.html (SampledData):
// decimals, or E, U, L, with one blank between them. The JSON schema does not look at it.
var sampledToken = regexp.MustCompile(`^(-?[0-9]+(\.[0-9]+)?|[EUL])( (-?[0-9]+(\.[0-9]+)?|[EUL]))*$`)

// samples reads SampledData by the words of the standard: a token times factor, plus
// origin. NaN is unknown; what is beyond a limit is infinite.
func (s *readSampled) samples(t *testing.T) (all []float64) {
	t.Helper()
	return s.read(t)
}

func (s *readSampled) read(t interface{ Fatalf(string, ...any) }) (all []float64) {
	if !sampledToken.MatchString(s.Data) || s.Dimensions != 1 || s.Period <= 0 {
		t.Fatalf("%+v", s)
	}
	factor := 1.0
	if s.Factor != nil {
		factor = *s.Factor
	}
	for token := range strings.SplitSeq(s.Data, " ") {
		switch token {
		case "E":
			all = append(all, math.NaN())
		case "L":
			all = append(all, math.Inf(-1))
		case "U":
			all = append(all, math.Inf(1))
		default:
			n, err := strconv.ParseFloat(token, 64)
			if err != nil {
				t.Fatalf("%v", err)
			}
			all = append(all, s.Origin.Value+factor*n)
		}
	}
	return all
}

// The reader itself, on an example that was reckoned by hand from the standard's words:
// with origin 0 and factor 0.1, "400 401 E L 1000" is 40.0, 40.1, unknown, below the limit,
// 100.0.
func TestTokensOfSampledData(t *testing.T) {
	factor := 0.1
	s := readSampled{Period: 500, Factor: &factor, Dimensions: 1, Data: "400 401 E L 1000"}
	if got := fmt.Sprintf("%.1f", s.samples(t)); got != "[40.0 40.1 NaN -Inf 100.0]" {
		t.Error(got)
	}
}
