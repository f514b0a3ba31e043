package report_test

import (
	"html"
	"regexp"
	"strings"
	"testing"
)

// A look is the words of a page in the order in which they are read.
type look string

var (
	style = regexp.MustCompile(`(?s)<style>.*?</style>`)
	tags  = regexp.MustCompile(`<[^>]*>`)
)

func newLook(page string) look {
	text := html.UnescapeString(tags.ReplaceAllString(style.ReplaceAllString(page, ""), " "))
	return look(strings.Join(strings.Fields(text), " "))
}

// has looks for words, one after another with little between them.
func (l look) has(t *testing.T, words ...string) {
	t.Helper()
	parts := make([]string, len(words))
	for i, w := range words {
		parts[i] = regexp.QuoteMeta(strings.Join(strings.Fields(w), " "))
	}
	if !regexp.MustCompile(strings.Join(parts, ".{0,40}?")).MatchString(string(l)) {
		t.Errorf("the page does not say %q: %s", words, l)
	}
}
