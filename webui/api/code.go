package api

import (
	"cmp"
	"context"
	"regexp"
	"strings"
	"unicode"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/access"
	"weald/stream/record"
)

// A person's code is one to four capital letters, a hyphen and one to six
// digits. That leaves no room for a name, and hardly any for a date of birth.
var codeForm = regexp.MustCompile(`^[A-Z]{1,4}-[0-9]{1,6}$`)

const codeHelp = "give a code of letters and digits, such as K-07, and keep the list of who is who somewhere else"

// codeError is the answer to text, in the field of a request, that is not a person's
// code; nil if it is one. The text itself is not repeated: it may be a name.
func codeError(field, text string) error {
	if problem := CodeProblem(text); problem != "" {
		return huma.Error422UnprocessableEntity(field + ": " + problem)
	}
	return nil
}

// sign puts into who, the field of a request, how the record names who asks: by the
// account, where there are accounts, and else by the code that was given. Whoever has
// an account cannot sign for another.
func (s *server) sign(ctx context.Context, field string, who *string) error {
	if access.From(ctx).Known() {
		return s.author(ctx, who)
	}
	return codeError(field, *who)
}

// author is sign where a code is not asked for.
func (s *server) author(ctx context.Context, who *string) error {
	by := access.From(ctx)
	if by.Known() && *who != "" && *who != by.Name {
		return huma.Error422UnprocessableEntity("who does it is known by the account: leave it out")
	}
	if !by.Known() && *who != "" {
		if err := codeError("author", *who); err != nil {
			return err
		}
	}
	*who = by.Author(*who)
	return nil
}

// What text has that tells who somebody is, whatever the language: an address, a number
// to call, a date of birth, a name behind a title. A name alone cannot be told from other
// words, and is left to who writes: every field says that there are to be none.
var (
	address  = regexp.MustCompile(`[^\s@]+@[^\s@]+\.[^\s@]+`)
	birth    = regexp.MustCompile(`\b(?:[0-3]?[0-9][./][01]?[0-9][./](?:19[0-9][0-9]|200[0-9])|(?:19[0-9][0-9]|200[0-9])-[01][0-9]-[0-3][0-9])\b`)
	calling  = regexp.MustCompile(`\+[0-9][0-9 /()-]{7,}[0-9]`)
	entitled = regexp.MustCompile(`\b(?:Mr|Mrs|Ms|Miss|Herrn?|Frau)\.? \p{Lu}\p{Ll}+`)
)

// wordsError is the answer to what somebody has written, in the field of a request,
// that tells who a person is; nil if nothing of it does. The text is not repeated.
func wordsError(field, text string) error {
	for _, of := range []struct {
		form *regexp.Regexp
		what string
	}{
		{address, "an address"}, {birth, "a date of birth"}, {calling, "a number to call"}, {entitled, "a name"},
	} {
		if of.form.MatchString(text) {
			return huma.Error422UnprocessableEntity(field + ": this has " + of.what + " in it, and who somebody is is not kept: write the person's code, such as K-07")
		}
	}
	return nil
}

// writtenError is wordsError of all that people write in an entry.
func writtenError(b record.Body) error {
	switch b := b.(type) {
	case record.Mark:
		return cmp.Or(wordsError("what", b.What), wordsError("text", b.Text))
	case record.Session:
		return wordsError("notes", b.Notes)
	case record.Attempt:
		return wordsError("notes", b.Notes)
	case record.Action:
		return wordsError("why", b.Reason)
	}
	return nil
}

// CodeProblem says why text is not a person's code; "" if it is one.
func CodeProblem(text string) string {
	words := strings.FieldsFunc(text, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == '.' })
	letters, digits, capitals := 0, 0, 0
	for _, r := range text {
		switch {
		case unicode.IsLetter(r):
			letters++
		case unicode.IsDigit(r):
			digits++
		}
	}
	for _, w := range words {
		if r := []rune(w); unicode.IsUpper(r[0]) {
			capitals++
		}
	}
	switch {
	case codeForm.MatchString(text):
		return ""
	case strings.TrimSpace(text) == "":
		return "there is no code: " + codeHelp
	case strings.Contains(text, "@"):
		return "this looks like an address: " + codeHelp
	case letters == 0 && digits >= 6:
		return "this looks like a date of birth or a number that others know: " + codeHelp
	case len(words) > 1 && capitals > 1, digits == 0 && letters > 1:
		return "this looks like a name, and names are not kept: " + codeHelp
	}
	return "this is not a code: " + codeHelp
}
