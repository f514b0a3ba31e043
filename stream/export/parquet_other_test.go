package export

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// A reader that others have written, in another language: hyparquet, which the
// tests of the pages bring. It prints the rows of a file, instants as text.
const otherReader = `
import { asyncBufferFromFile, parquetReadObjects } from 'hyparquet';
import { compressors } from 'hyparquet-compressors';
const file = await asyncBufferFromFile(process.argv[1]);
const rows = await parquetReadObjects({ file, compressors, parsers: { timestampFromNanoseconds: (ns) => String(ns) } });
console.log(JSON.stringify(rows));
`

// It has the same rows as ours, in the same order.
func TestAnotherReaderReadsParquet(t *testing.T) {
	modules, err := filepath.Abs("../../webui/node_modules")
	if err != nil {
		t.Fatal(err)
	}
	node, err := exec.LookPath("node")
	if err != nil {
		missing(t, "node not found")
	}
	if _, err := os.Stat(filepath.Join(modules, "hyparquet")); err != nil {
		missing(t, "hyparquet is not there: npm ci in webui brings it")
	}
	files, err := Parquet(t.Context(), bench(), t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		Time                                                            string
		Signal, Unit, Kind, What, Rule, Subject, Priority, Author, Text string
		Value                                                           *float64
		Duration                                                        float64 `json:"duration_s"`
	}
	read := func(path string) (rows []row) {
		cmd := exec.Command(node, "--input-type=module", "-e", otherReader, path)
		cmd.Dir = filepath.Dir(modules)
		cmd.Stderr = os.Stderr
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(out, &rows); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return rows
	}
	same := func(what string, got, want []row) {
		t.Helper()
		if !slices.EqualFunc(got, want, func(a, b row) bool {
			values := a.Value == nil && b.Value == nil || a.Value != nil && b.Value != nil && *a.Value == *b.Value
			a.Value, b.Value = nil, nil
			return values && a == b
		}) {
			t.Errorf("%s are there\n%+v\nand here\n%+v", what, got, want)
		}
	}
	var readings, events []row
	for _, r := range readParquet[Reading](t, files[0].Path) {
		readings = append(readings, row{Time: strconv.FormatInt(r.Time, 10), Signal: r.Signal, Unit: r.Unit, Value: r.Value})
	}
	for _, e := range readParquet[Event](t, files[1].Path) {
		events = append(events, row{Time: strconv.FormatInt(e.Time, 10), Duration: e.Duration, Kind: e.Kind, What: e.What,
			Rule: e.Rule, Subject: e.Subject, Priority: e.Priority, Author: e.Author, Text: e.Text})
	}
	same("readings", read(files[0].Path), readings)
	same("events", read(files[1].Path), events)
}
