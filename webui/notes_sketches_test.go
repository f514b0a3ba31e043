package webui

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"weald/config"
	"weald/ingest/frame"
	"weald/ingest/mqtt"
)

// compile builds sources, which are put into one folder, and returns what the
// program writes.
func compile(t *testing.T, compiler []string, files map[string]string, sources ...string) []byte {
	t.Helper()
	path, err := exec.LookPath(compiler[0])
	if err != nil {
		t.Skipf("there is no %s to compile the sketch with", compiler[0])
	}
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	args := append(slices.Clone(compiler[1:]), "-Wall", "-Wextra", "-Werror", "-o", "sketch")
	build := exec.Command(path, append(args, sources...)...)
	build.Dir = dir
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", build.Args, err, out)
	}
	out, err := exec.Command(filepath.Join(dir, "sketch")).Output()
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func stub(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata/firmware", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The eight-channel board's bytes are those of our own encoder, for the readings
// that its pins were made to have.
func TestNotesBoardSpeaksLine(t *testing.T) {
	files := map[string]string{"board.ino": fenced(t, "board.ino"), "Arduino.h": stub(t, "Arduino.h"), "board_main.c": stub(t, "board_main.c")}
	var want []byte
	for scan, at := range []uint32{4294967196, 5, 100, 1000, 1100} {
		f := frame.Frame{Kind: frame.Readings, Seq: uint32(scan), Millis: at}
		for pin := range 8 {
			f.Readings = append(f.Readings, float64((pin*100+scan*7)*16/4))
		}
		var err error
		if want, err = frame.AppendLine(want, &f); err != nil {
			t.Fatal(err)
		}
	}
	for _, compiler := range [][]string{{"c++", "-x", "c++", "-std=c++11"}, {"cc", "-std=c99"}} {
		t.Run(compiler[0], func(t *testing.T) {
			if got := compile(t, compiler, files, "board_main.c"); !bytes.Equal(got, want) {
				t.Errorf("the board wrote\n%s\nand should have written\n%s", got, want)
			}
		})
	}
}

// The scanner's bytes are those of our own encoder, and our decoder reads them.
func TestNotesMatSpeaksPacked(t *testing.T) {
	files := map[string]string{"mat.c": fenced(t, "mat.c"), "mat_main.c": stub(t, "mat_main.c")}
	got := compile(t, []string{"cc", "-std=c99"}, files, "mat.c", "mat_main.c")

	var want []byte
	seq := uint32(0)
	add := func(f frame.Frame) {
		f.Source, f.Seq = 4, seq
		seq++
		var err error
		if want, err = frame.AppendWire(want, &f, frame.U12); err != nil {
			t.Fatal(err)
		}
	}
	scan := func(n int) {
		for first := 0; first < 2048; first += 256 {
			f := frame.Frame{Kind: frame.Readings, Millis: uint32(81250 + 500*n), First: first, More: first < 1792}
			for i := first; i < first+256; i++ {
				f.Readings = append(f.Readings, matReading(i/32, i%32, n))
			}
			add(f)
		}
	}
	scan(0)
	add(frame.Frame{Kind: frame.Status, Millis: 81750,
		Health: frame.Health{BatteryMV: 3712, BatteryPercent: 41, Celsius: -5, UptimeS: 5025, Firmware: "mat 1.2"}})
	scan(1)
	if !bytes.Equal(got, want) {
		t.Fatalf("the scanner wrote %d bytes, and not the %d that it should have", len(got), len(want))
	}
	var n counted
	frame.NewPacked().Feed(got, &n)
	if n.frames != 17 || n.bad != nil {
		t.Errorf("our decoder read %d frames of 17, and refused: %v", n.frames, n.bad)
	}
}

// matReading is what the stand-in for the mat reads at a cell.
func matReading(row, column, scan int) float64 {
	switch {
	case row < 8:
		return 0
	case row < 16:
		return 4095
	}
	return math.Mod(float64(row*37+column*101+scan*13), 4096)
}

type counted struct {
	frames int
	bad    error
}

func (c *counted) Frame(*frame.Frame) { c.frames++ }
func (c *counted) Bad(b *frame.Bad)   { c.bad = b }

var yamlPart = regexp.MustCompile("(?s)```yaml\n(.*?)```")

// What the notes say in passing is so.
func TestNotesNameTheTopicAndASoundConfiguration(t *testing.T) {
	notes := readNotes(t)
	topic, err := mqtt.Topic("<bridge>")
	if err != nil || !bytes.Contains([]byte(notes), []byte("`"+topic+"`")) {
		t.Errorf("the notes do not name the topic %s (%v)", topic, err)
	}
	for _, m := range yamlPart.FindAllStringSubmatch(notes, -1) {
		text := "data: /var/lib/weald\n" + m[1]
		if _, problems := config.Parse("notes.yaml", []byte(text)); len(problems) > 0 {
			t.Errorf("a configuration in the notes:\n%v\n%s", problems, text)
		}
	}
}
