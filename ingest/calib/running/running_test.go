package running

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

func made(n int, first, a, b float64) []float64 {
	out := []float64{first}
	for len(out) < n {
		out = append(out, a, b)
	}
	return out
}

// NIST StRD, univariate. A reading such as 10000000.2 has only so many digits:
// its distance from the next number is 2e-9, so that no arithmetic can have the
// scatter of 0.1 to more than 8.
func TestStRD(t *testing.T) {
	for _, c := range []struct {
		name         string
		data         []float64
		mean, sd, r1 float64
		digits       float64 // of sd and r1
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, -0.5, 15},
		{"NumAcc2", made(1001, 1.2, 1.1, 1.3), 1.2, 0.1, -0.999, 13},
		{"NumAcc3", made(1001, 1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999, 9},
		{"NumAcc4", made(1001, 10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999, 8},
		{"Michelso", nil, 299.8524, 0.0790105478190518, 0.535199668621283, 11},
		{"Mavro", nil, 2.001856, 0.000429123454003053, 0.937989183438248, 11},
		{"Lew", nil, -177.435, 277.332168044316, -0.307304800605679, 13},
		{"Lottery", nil, 518.958715596330, 291.699727470969, -0.120948622967393, 13},
	} {
		t.Run(c.name, func(t *testing.T) {
			values := c.data
			if values == nil {
				values = published(t, c.name+".txt")
			}
			var s Stat
			for _, v := range values {
				s.Add(v)
				s.Add(math.NaN())
			}
			for what, pair := range map[string][3]float64{
				"mean": {s.Mean(), c.mean, 14}, "sd": {s.SD(), c.sd, c.digits}, "lag 1": {s.Lag1(), c.r1, c.digits},
			} {
				if d := -math.Log10(math.Abs(pair[0]-pair[1]) / math.Abs(pair[1])); !(d >= pair[2]) {
					t.Errorf("%s is %.16g, certified %.16g: %.1f digits of %v", what, pair[0], pair[1], d, pair[2])
				}
			}
		})
	}
}

func TestOfNothing(t *testing.T) {
	var s Stat
	if v := s.Mean(); v == v {
		t.Errorf("the mean of nothing is %v", v)
	}
	s.Add(3)
	if s.Mean() != 3 || s.SD() == s.SD() || s.Lag1() == s.Lag1() {
		t.Errorf("of one reading: %v, %v, %v", s.Mean(), s.SD(), s.Lag1())
	}
}

// published reads the trailing column of numbers of a file of the sets: the last
// run of lines that hold one number and nothing else.
func published(t *testing.T, name string) (out []float64) {
	t.Helper()
	for _, dir := range []string{os.Getenv("WEALD_DATA"), "../../../../shared/data"} {
		b, err := os.ReadFile(filepath.Join(dir, "nist", name))
		if dir == "" || err != nil {
			continue
		}
		for line := range strings.Lines(string(b)) {
			v, err := strconv.ParseFloat(strings.TrimSpace(line), 64)
			if err == nil {
				out = append(out, v)
			}
		}
		return out
	}
	t.Skipf("no nist/%s beside the checkout or in $WEALD_DATA", name)
	return nil
}
