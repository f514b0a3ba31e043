package directory

import (
	"errors"
	"testing"
	"time"

	"weald/stream/access/directory/directorytest"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func of(i *directorytest.Issuer) *Directory {
	return New(Settings{Issuer: i.URL, ClientID: directorytest.ClientID, Claim: "sub", Return: directorytest.Return}, func() (string, error) { return directorytest.Secret, nil })
}

// begin sends somebody there, and returns the state.
func begin(t *testing.T, i *directorytest.Issuer, d *Directory) string {
	t.Helper()
	to, state, err := d.Begin(noon)
	if err != nil {
		t.Fatal(err)
	}
	if i.Sent(to, noon) != state {
		t.Error("another state in the address")
	}
	return state
}

// Whoever the directory shows is told by the claim, and nobody is whom it does not.
func TestWhoComesBack(t *testing.T) {
	i := directorytest.New(t)
	i.Forger = nil
	for name, c := range map[string]struct {
		spoil func(state *string, cookie *string, code *string)
		claim string
		want  string // "" for a refusal
	}{
		"as it should be":                {func(_, _, _ *string) {}, "sub", "4711-anna"},
		"another claim":                  {func(_, _, _ *string) {}, "staff", "4711"},
		"a claim that is not there":      {func(_, _, _ *string) {}, "email", ""},
		"another code":                   {func(_, _, code *string) { *code = "bad" }, "sub", ""},
		"no code":                        {func(_, _, code *string) { *code = "" }, "sub", ""},
		"another browser":                {func(_, cookie, _ *string) { *cookie = "other" }, "sub", ""},
		"no cookie":                      {func(_, cookie, _ *string) { *cookie = "" }, "sub", ""},
		"a state that nobody has begun":  {func(state, cookie, _ *string) { *state, *cookie = "made-up", "made-up" }, "sub", ""},
		"no state":                       {func(state, cookie, _ *string) { *state, *cookie = "", "" }, "sub", ""},
		"a token for another daemon":     {func(_, _, _ *string) { i.Claims["aud"] = "other" }, "sub", ""},
		"a token of another directory":   {func(_, _, _ *string) { i.Claims["iss"] = "https://other.example" }, "sub", ""},
		"a token for another log-in":     {func(_, _, _ *string) { i.Claims["nonce"] = "other" }, "sub", ""},
		"a token without a nonce":        {func(_, _, _ *string) { delete(i.Claims, "nonce") }, "sub", ""},
		"a token that is over":           {func(_, _, _ *string) { i.Claims["exp"] = noon.Add(-time.Minute).Unix() }, "sub", ""},
		"a token that somebody forged":   {func(_, _, _ *string) { i.Forger = i.NewKey() }, "sub", ""},
		"a token that nobody has signed": {func(_, _, _ *string) { i.Alg = "none" }, "sub", ""},
		"a proof key of somebody else":   {func(_, _, _ *string) { i.Challenge = "other" }, "sub", ""},
	} {
		i.Forger, i.Alg = nil, "ES256"
		d := of(i)
		d.settings.Claim = c.claim
		state := begin(t, i, d)
		cookie, code := state, "good"
		c.spoil(&state, &cookie, &code)
		got, err := d.Finish(t.Context(), state, cookie, code, noon.Add(time.Second))
		if got != c.want || (c.want == "") != errors.Is(err, ErrRefused) {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
}

// A log-in counts once, and for ten minutes.
func TestALogInCountsOnce(t *testing.T) {
	i := directorytest.New(t)
	d := of(i)
	state := begin(t, i, d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon); got == "" {
		t.Fatal(err)
	}
	if got, err := d.Finish(t.Context(), state, state, "good", noon); !errors.Is(err, ErrRefused) {
		t.Errorf("twice: %q %v", got, err)
	}
	state = begin(t, i, d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon.Add(flowFor)); !errors.Is(err, ErrRefused) {
		t.Errorf("after ten minutes: %q %v", got, err)
	}
	for range mostFlows + 10 {
		begin(t, i, d)
	}
	if len(d.flows) > mostFlows {
		t.Errorf("%d log-ins are remembered", len(d.flows))
	}
}

// A directory that is away is asked again, and one that came back is used.
func TestADirectoryThatIsAway(t *testing.T) {
	i := directorytest.New(t)
	i.Away = true
	d := of(i)
	if _, _, err := d.Begin(noon); !errors.Is(err, ErrAway) {
		t.Errorf("away: %v", err)
	}
	i.Away = false
	state := begin(t, i, d)
	i.Away = true
	if _, err := d.Finish(t.Context(), state, state, "good", noon); err == nil {
		t.Error("it is away, and has shown who that is")
	}
	i.Away = false
	state = begin(t, i, d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon); got != "4711-anna" {
		t.Errorf("%q %v", got, err)
	}
	d.secret = func() (string, error) { return "", errors.New("secret in s: it is empty") }
	if _, _, err := d.Begin(noon); !errors.Is(err, ErrAway) {
		t.Errorf("without its secret: %v", err)
	}
}
