package webui

import (
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"
)

// notesFile is what makers read, in the repository and at /notes.
const notesFile = "src/notes/firmware.md"

var rewrite = flag.Bool("rewrite", false, "write the worked examples of the notes for makers anew")

func readNotes(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(notesFile)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

var madePart = regexp.MustCompile(`(?s)<!-- made: (\w+) -->\n(.*?)<!-- end -->`)

// The worked examples of the notes are what the encoders write.
func TestNotesShowWhatTheEncodersWrite(t *testing.T) {
	made := map[string]string{
		"line": lineExample(t), "packed": packedExample(t), "wire": wireExample(t),
		"status": statusExample(t), "ble": bleExample(),
	}
	notes := readNotes(t)
	seen := 0
	fresh := madePart.ReplaceAllStringFunc(notes, func(part string) string {
		m := madePart.FindStringSubmatch(part)
		want, ok := made[m[1]]
		if !ok {
			t.Errorf("the notes ask for an example %q, and there is none", m[1])
			return part
		}
		seen++
		return "<!-- made: " + m[1] + " -->\n" + want + "<!-- end -->"
	})
	if seen != len(made) {
		t.Errorf("the notes show %d examples of %d", seen, len(made))
	}
	if fresh == notes {
		return
	}
	if *rewrite {
		if err := os.WriteFile(notesFile, []byte(fresh), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Errorf("%s does not show what the encoders write; go test ./webui -run Notes -rewrite mends it", notesFile)
}

// fenced returns the named code block of the notes.
func fenced(t *testing.T, name string) string {
	t.Helper()
	m := regexp.MustCompile("(?s)```\\w+ " + regexp.QuoteMeta(name) + "\n(.*?)```\n").FindStringSubmatch(readNotes(t))
	if m == nil {
		t.Fatalf("the notes have no %s", name)
	}
	return m[1]
}

// table writes a Markdown table; the first row is its head.
func table(rows ...[]string) string {
	var b strings.Builder
	for i, row := range rows {
		b.WriteString("| " + strings.Join(row, " | ") + " |\n")
		if i == 0 {
			b.WriteString("|" + strings.Repeat(" --- |", len(row)) + "\n")
		}
	}
	return b.String()
}
