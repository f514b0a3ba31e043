package frame

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseFloat(t *testing.T) {
	for in, want := range map[string]float64{
		"0": 0, "7": 7, "-7": -7, "+7": 7, "007": 7, "1.5": 1.5, "1.": 1, ".5": 0.5, "-.5": -0.5,
		"1e3": 1000, "1E-3": 0.001, "1.5e+2": 150, "12345678901234567890": 12345678901234567890,
		"0.1": 0.1, "0.30000000000000004": 0.30000000000000004, "9007199254740993": 9007199254740992,
		"1e-400": 0, "1e22": 1e22, "1e23": 1e23, "0000000000000000000000001.25": 1.25,
		"0e99999999999999999999": 0,
	} {
		if got, bad := parseFloat([]byte(in), '.'); bad != "" || got != want {
			t.Errorf("%s: got %v, %q, want %v", in, got, bad, want)
		}
		comma := strings.Replace(in, ".", ",", 1)
		if got, bad := parseFloat([]byte(comma), ','); bad != "" || got != want {
			t.Errorf("%s: got %v, %q, want %v", comma, got, bad, want)
		}
	}
}

func TestParseFloatRefusals(t *testing.T) {
	for _, in := range []string{"", "-", "+", ".", "e5", "1e", "1e+", "1e5.5", "1.2.3", "1,5", "--1", "1-", " 1", "1 ",
		"nan", "NaN", "inf", "-Inf", "Infinity", "0x10", "0x1p-2", "1_000", "1'000", "½", "１", "1f", "−1"} {
		if got, bad := parseFloat([]byte(in), '.'); bad != BadNumber {
			t.Errorf("%q: got %v, %q, want it refused as a number", in, got, bad)
		}
	}
	if got, bad := parseFloat([]byte("1.5"), ','); bad != BadNumber {
		t.Errorf("a point where commas are decimal: got %v, %q", got, bad)
	}
	for _, in := range []string{"1e309", "-1e309", "1" + strings.Repeat("0", 400)} {
		if got, bad := parseFloat([]byte(in), '.'); bad != BadRange {
			t.Errorf("%.20s: got %v, %q, want it refused as out of range", in, got, bad)
		}
	}
}

// Every number that strconv writes reads back as the same float.
func TestParseFloatAgainstStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?([0-9]{1,25}(\.[0-9]{0,25})?|\.[0-9]{1,25})([eE][+-]?[0-9]{1,3})?`).Draw(t, "text")
		if rapid.Bool().Draw(t, "of a float") {
			text = strconv.FormatFloat(rapid.Float64().Filter(func(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }).Draw(t, "v"), 'g', -1, 64)
		}
		want, err := strconv.ParseFloat(text, 64)
		got, bad := parseFloat([]byte(text), '.')
		if err != nil {
			if bad != BadRange {
				t.Fatalf("%s: got %v, %q, want it out of range", text, got, bad)
			}
			return
		}
		if bad != "" || math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%s: got %v, %q, want %v", text, got, bad, want)
		}
	})
}

func TestParseNanos(t *testing.T) {
	for _, c := range []struct {
		in    string
		scale int
		want  int64
	}{
		{"1702378176.106295", 9, 1702378176106295000}, // a float64 is 109 ns off
		{"1702377942.823014", 9, 1702377942823014000},
		{"0", 9, 0}, {"-0", 9, 0}, {"0.01", 9, 10_000_000}, {"0.0100", 9, 10_000_000},
		{"-1.5", 9, -1_500_000_000}, {"1.702378176e9", 9, 1702378176000000000}, {"1e-9", 9, 1},
		{"0.0000000005", 9, 1}, {"0.0000000004999999", 9, 0}, {"1e-11", 9, 0}, {"5e-99999", 9, 0},
		{"1702378176.1062951234", 9, 1702378176106295123},
		{"1702378176.1062951239", 9, 1702378176106295124},
		{"1702378176.10629512345678901234567890", 9, 1702378176106295123},
		{"0.99999999999", 9, 1_000_000_000},
		{"00000000000000000000000000001", 9, 1_000_000_000},
		{"9223372036.854775806", 9, math.MaxInt64 - 1},
		{"1702378176106.295", 6, 1702378176106295000},
		{"12.5", 6, 12_500_000},
	} {
		if got, ok := parseNanos([]byte(c.in), '.', c.scale); !ok || got != c.want {
			t.Errorf("%s: got %d, %v, want %d", c.in, got, ok, c.want)
		}
	}
	for _, in := range []string{"", "x", "nan", "9223372036.854775807", "9223372037", "-9223372037", "1e10", "1e99999999", "99999999999999999999999"} {
		if got, ok := parseNanos([]byte(in), '.', 9); ok {
			t.Errorf("%q: got %d, want a refusal", in, got)
		}
	}
}

// Nanoseconds agree with arithmetic in fractions, half away from zero.
func TestParseNanosAgainstFractions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,10}(\.[0-9]{1,14})?(e-?[0-9])?`).Draw(t, "text")
		exact, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatalf("%q is no fraction", text)
		}
		exact.Mul(exact, big.NewRat(1_000_000_000, 1))
		half := big.NewRat(int64(exact.Sign()), 2)
		exact.Add(exact, half)
		want := new(big.Int).Quo(exact.Num(), exact.Denom())
		got, ok := parseNanos([]byte(text), '.', 9)
		fits := want.IsInt64() && want.CmpAbs(big.NewInt(math.MaxInt64)) < 0
		if ok != fits || ok && got != want.Int64() {
			t.Fatalf("%s: got %d, %v, want %v", text, got, ok, want)
		}
	})
}
