package ingest

import (
	"bytes"
	"flag"
	"fmt"
	"hash/fnv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/sample"
)

var update = flag.Bool("update", false, "write the invented captures and the expected scans in testdata anew")

// faulty says of each capture in testdata what bridge it is of. A capture from
// the field gets an entry with the format, the sources and the numbers of
// channels that its configuration had.
var faulty = map[string]Bridge{
	"reboot-in-mid-scan": packedLeg(),
	"lost-part":          packedLeg(),
	"flipped-bit":        twoLegs(nil),
}

// packedLeg is a packed bridge with one source of six channels at 10/s.
func packedLeg() Bridge {
	return Bridge{ID: "trolley", Format: Format{Kind: Packed}, Sources: []Source{
		{ID: "trolley/left", Channels: 6, Rate: 10, StaleAfter: time.Second, Unit: calib.MMHg},
	}}
}

// A fault that was captured once gives for ever what it was found to give: the
// scans one by one, and what is counted.
func TestCapturedFaults(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.wcap")
	if err != nil || len(paths) < len(faulty) {
		t.Fatalf("captures %v, %v; there are to be %d", paths, err, len(faulty))
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".wcap")
		t.Run(name, func(t *testing.T) {
			b, ok := faulty[name]
			if !ok {
				t.Fatalf("nobody says what bridge %s is of: see faulty", path)
			}
			got := played(t, b, path)
			golden := strings.TrimSuffix(path, ".wcap") + ".txt"
			if *update {
				if err := os.WriteFile(golden, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s is played otherwise than %s says:\n%s", path, golden, firstChange(want, got))
			}
		})
	}
}

// played writes what a capture gives as text.
func played(t *testing.T, b Bridge, path string) []byte {
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out bytes.Buffer
	s, err := playAll(t.Context(), b, f, PlayOptions{Capture: true}, func(s *sample.Scan) {
		i := slices.IndexFunc(b.Sources, func(src Source) bool { return src.Index == s.Source })
		fmt.Fprintf(&out, "%s %v, arrived %v:%s\n", b.Sources[i].ID, s.At, s.Arrived, values(s.Values))
	})
	fmt.Fprintf(&out, "bytes %d, frames %d, refused %v, error %v\n", s.Bytes, s.Frames, s.Bad, err)
	for _, src := range s.Sources {
		fmt.Fprintf(&out, "%s: scans %d, gaps %d, repeats %d, late %d, partial %d, damaged %d, stored %d, unplaced %d, epochs %d, restarts %d\n",
			src.ID, src.Scans, src.Gaps, src.Repeats, src.Late, src.Partial, src.Damaged, src.Stored, src.Unplaced, src.Epochs, src.Restarts)
	}
	for _, u := range s.Unknown {
		fmt.Fprintf(&out, "unknown source %d: %d frames\n", u.Number, u.Frames)
	}
	return out.Bytes()
}

// fewValues is how many values of a scan are written; of a mat's, a sum stands
// for all.
const fewValues = 16

func values(vs []float64) string {
	var b strings.Builder
	if len(vs) > fewValues {
		sum := fnv.New64a()
		for _, v := range vs {
			fmt.Fprintf(sum, "%v ", v)
		}
		return fmt.Sprintf(" %d values, sum %016x", len(vs), sum.Sum64())
	}
	for _, v := range vs {
		if math.IsNaN(v) {
			b.WriteString(" -")
			continue
		}
		fmt.Fprintf(&b, " %g", v)
	}
	return b.String()
}

// firstChange shows the first line in which two texts differ.
func firstChange(want, got []byte) string {
	w, g := strings.Split(string(want), "\n"), strings.Split(string(got), "\n")
	for i := range max(len(w), len(g)) {
		var a, b string
		if i < len(w) {
			a = w[i]
		}
		if i < len(g) {
			b = g[i]
		}
		if a != b {
			return fmt.Sprintf("line %d\nwant %s\ngot  %s", i+1, a, b)
		}
	}
	return ""
}
