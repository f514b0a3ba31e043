package metrics

import (
	"os"
	"regexp"
	"testing"
)

// The table of webui/src/notes/operations.md says of every metric whether and when to act on it, and names none that is
// not there.
func TestTheTableKnowsEveryMetric(t *testing.T) {
	b, err := os.ReadFile("../../webui/src/notes/operations.md")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	form := regexp.MustCompile(`weald_[a-z0-9_]*[a-z0-9]`)
	for _, d := range all {
		there[form.FindString(d.String())] = true
	}
	delay, _ := NewDelay()
	there[form.FindString(delay.Desc().String())] = true
	named := map[string]bool{}
	for _, name := range regexp.MustCompile("`(weald_[a-z0-9_]+)`").FindAllStringSubmatch(string(b), -1) {
		named[name[1]] = true
	}
	for name := range named {
		if !there[name] {
			t.Errorf("the table names %s, which is no metric", name)
		}
	}
	for name := range there {
		if !named[name] {
			t.Errorf("the table does not say when to act on %s", name)
		}
	}
	if len(there) < 30 {
		t.Errorf("looked at %d metrics", len(there))
	}
}
