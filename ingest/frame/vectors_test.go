package frame

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"weald/ingest/sample"
)

// vectors are frames that an independent encoder made.
type vectors struct {
	Line []struct {
		Bytes  string
		Source uint16
		Seq    uint32
		Ms     uint32
		Values []*float64
	}
	Packed []struct {
		Bare, Wire string
		Kind       string
		Source     uint16
		Seq        uint32
		Ms         uint32
		First      int
		More       bool
		Coding     Coding
		Values     []*float64
		BatteryMV  int    `json:"battery_mv"`
		BatteryPct int    `json:"battery_pct"`
		TempC      int    `json:"temp_c"`
		UptimeS    uint32 `json:"uptime_s"`
		Firmware   string
	}
	BadLine   []struct{ Bytes, Why string } `json:"bad_line"`
	BadPacked []struct{ Bare, Why string }  `json:"bad_packed"`
}

// readVectors finds the vectors beside the repository, or skips the test.
func readVectors(t *testing.T) vectors {
	t.Helper()
	path := filepath.Join("..", "..", "..", "shared", "vectors", "frames.json")
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		t.Skipf("frame vectors not found: %s", path)
	}
	if err != nil {
		t.Fatal(err)
	}
	var v vectors
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if len(v.Line) == 0 || len(v.Packed) == 0 || len(v.BadLine) == 0 || len(v.BadPacked) == 0 {
		t.Fatalf("%s lacks a group of vectors", path)
	}
	return v
}

func values(vs []*float64) []float64 {
	out := make([]float64, len(vs))
	for i, v := range vs {
		out[i] = sample.Unknown
		if v != nil {
			out[i] = *v
		}
	}
	return out
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestLineVectors(t *testing.T) {
	for _, v := range readVectors(t).Line {
		want := Frame{Kind: Readings, Source: v.Source, Seq: v.Seq, Millis: v.Ms, Wall: sample.Never, Readings: values(v.Values)}
		if d := diff(want, decode(NewLine(), []byte(v.Bytes)).only(t)); d != "" {
			t.Errorf("%q decodes to (-want +got):\n%s", v.Bytes, d)
		}
		if got, err := AppendLine(nil, &want); err != nil || string(got) != v.Bytes {
			t.Errorf("encodes to %q, %v, want %q", got, err, v.Bytes)
		}
	}
}

func TestPackedVectors(t *testing.T) {
	for _, v := range readVectors(t).Packed {
		bare, wire := unhex(t, v.Bare), unhex(t, v.Wire)
		want := Frame{Kind: Readings, Source: v.Source, Seq: v.Seq, Millis: v.Ms, Wall: sample.Never}
		if v.Kind == "status" {
			want.Kind = Status
			want.Health = Health{v.BatteryMV, v.BatteryPct, v.TempC, v.UptimeS, v.Firmware}
		} else {
			want.First, want.More, want.Readings, want.Top = v.First, v.More, values(v.Values), v.Coding.top()
		}
		r := &record{}
		NewPacked().Message(bare, r)
		if d := diff(want, r.only(t)); d != "" {
			t.Errorf("%.40s… decodes bare to (-want +got):\n%s", v.Bare, d)
		}
		if d := diff(want, decode(NewPacked(), wire).only(t)); d != "" {
			t.Errorf("%.40s… decodes from the wire to (-want +got):\n%s", v.Wire, d)
		}
		if got, err := AppendPacked(nil, &want, v.Coding); err != nil || !slices.Equal(got, bare) {
			t.Errorf("encodes to %x, %v\nwant %x", got, err, bare)
		}
		if got, err := AppendWire(nil, &want, v.Coding); err != nil || !slices.Equal(got, wire) {
			t.Errorf("goes over the wire as %x, %v\nwant %x", got, err, wire)
		}
	}
}

func TestBadVectors(t *testing.T) {
	reasons := map[string]Reason{
		"checksum":                       BadChecksum,
		"no checksum":                    BadChecksum,
		"crc":                            BadChecksum,
		"version":                        BadVersion,
		"number":                         BadNumber,
		"fields":                         BadFields,
		"range":                          BadRange,
		"length":                         BadLength,
		"count does not fit the payload": BadFields,
		"coding":                         BadCoding,
	}
	v := readVectors(t)
	for _, b := range v.BadLine {
		t.Run("line "+b.Why, func(t *testing.T) {
			decode(NewLine(), []byte(b.Bytes)).wantBad(t, reasons[b.Why])
		})
	}
	for _, b := range v.BadPacked {
		t.Run("packed "+b.Why, func(t *testing.T) {
			bare := unhex(t, b.Bare)
			r := &record{}
			NewPacked().Message(bare, r)
			r.wantBad(t, reasons[b.Why])
			if len(bare) > 0 { // an empty frame on a stream is idle filling
				decode(NewPacked(), append(AppendCOBS(nil, bare), 0)).wantBad(t, reasons[b.Why])
			}
		})
	}
}
