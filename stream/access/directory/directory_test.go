package directory

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

var b64 = base64.RawURLEncoding

// An issuer is a directory that does not exist. What it says of whoever comes is what
// the test has it say.
type issuer struct {
	t      *testing.T
	server *httptest.Server
	key    *ecdsa.PrivateKey
	away   bool

	claims    map[string]any
	forger    *ecdsa.PrivateKey // signs instead of it, where there is one
	alg       string
	challenge string // of the log-in that goes on
}

func newIssuer(t *testing.T) *issuer {
	i := &issuer{t: t, alg: "ES256"}
	i.key = i.newKey()
	mux := http.NewServeMux()
	i.server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if i.away {
			http.Error(w, "being mended", http.StatusBadGateway)
			return
		}
		mux.ServeHTTP(w, r)
	}))
	t.Cleanup(i.server.Close)
	at := i.server.URL
	say := func(w http.ResponseWriter, v any) {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(v)
	}
	mux.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		say(w, map[string]any{"issuer": at, "authorization_endpoint": at + "/authorize", "token_endpoint": at + "/token", "jwks_uri": at + "/keys", "id_token_signing_alg_values_supported": []string{"ES256"}})
	})
	mux.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		point, err := i.key.PublicKey.Bytes() // 4, x, y
		if err != nil {
			t.Error(err)
		}
		say(w, map[string]any{"keys": []map[string]any{{"kty": "EC", "crv": "P-256", "alg": "ES256", "use": "sig", "kid": "one", "x": b64.EncodeToString(point[1:33]), "y": b64.EncodeToString(point[33:])}}})
	})
	mux.HandleFunc("POST /token", func(w http.ResponseWriter, r *http.Request) {
		sum := sha256.Sum256([]byte(r.FormValue("code_verifier")))
		id, secret, _ := r.BasicAuth()
		if r.FormValue("code") != "good" || b64.EncodeToString(sum[:]) != i.challenge || id != "weald" || secret != "hush" || r.FormValue("redirect_uri") != "https://weald.example/back" {
			w.WriteHeader(http.StatusBadRequest)
			say(w, map[string]any{"error": "invalid_grant"})
			return
		}
		say(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": i.token()})
	})
	return i
}

func (i *issuer) newKey() *ecdsa.PrivateKey {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		i.t.Fatal(err)
	}
	return key
}

// token is a JSON Web Token (RFC 7519), signed by RFC 7518, section 3.4.
func (i *issuer) token() string {
	head, _ := json.Marshal(map[string]any{"alg": i.alg, "kid": "one", "typ": "JWT"})
	body, _ := json.Marshal(i.claims)
	signed := b64.EncodeToString(head) + "." + b64.EncodeToString(body)
	if i.alg == "none" {
		return signed + "."
	}
	key := i.key
	if i.forger != nil {
		key = i.forger
	}
	sum := sha256.Sum256([]byte(signed))
	r, s, err := ecdsa.Sign(rand.Reader, key, sum[:])
	if err != nil {
		i.t.Fatal(err)
	}
	signature := make([]byte, 64)
	r.FillBytes(signature[:32])
	s.FillBytes(signature[32:])
	return signed + "." + b64.EncodeToString(signature)
}

func (i *issuer) directory() *Directory {
	return New(Settings{Issuer: i.server.URL, ClientID: "weald", Claim: "sub", Return: "https://weald.example/back"}, func() (string, error) { return "hush", nil })
}

// begin sends somebody there, and returns the state.
func (i *issuer) begin(d *Directory) string {
	i.t.Helper()
	to, state, err := d.Begin(noon)
	if err != nil {
		i.t.Fatal(err)
	}
	u, err := url.Parse(to)
	if err != nil || !strings.HasPrefix(to, i.server.URL+"/authorize?") {
		i.t.Fatalf("sent to %s", to)
	}
	q := u.Query()
	if q.Get("state") != state || q.Get("code_challenge_method") != "S256" || q.Get("response_type") != "code" || q.Get("client_id") != "weald" {
		i.t.Errorf("asks %v", q)
	}
	i.challenge = q.Get("code_challenge")
	i.claims = map[string]any{"iss": i.server.URL, "aud": "weald", "sub": "4711-anna", "exp": noon.Add(time.Minute).Unix(), "iat": noon.Unix(), "nonce": q.Get("nonce"), "staff": 4711}
	return state
}

// Whoever the directory shows is told by the claim, and nobody is whom it does not.
func TestWhoComesBack(t *testing.T) {
	i := newIssuer(t)
	i.forger = nil
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
		"a token for another daemon":     {func(_, _, _ *string) { i.claims["aud"] = "other" }, "sub", ""},
		"a token of another directory":   {func(_, _, _ *string) { i.claims["iss"] = "https://other.example" }, "sub", ""},
		"a token for another log-in":     {func(_, _, _ *string) { i.claims["nonce"] = "other" }, "sub", ""},
		"a token without a nonce":        {func(_, _, _ *string) { delete(i.claims, "nonce") }, "sub", ""},
		"a token that is over":           {func(_, _, _ *string) { i.claims["exp"] = noon.Add(-time.Minute).Unix() }, "sub", ""},
		"a token that somebody forged":   {func(_, _, _ *string) { i.forger = i.newKey() }, "sub", ""},
		"a token that nobody has signed": {func(_, _, _ *string) { i.alg = "none" }, "sub", ""},
		"a proof key of somebody else":   {func(_, _, _ *string) { i.challenge = "other" }, "sub", ""},
	} {
		i.forger, i.alg = nil, "ES256"
		d := i.directory()
		d.settings.Claim = c.claim
		state := i.begin(d)
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
	i := newIssuer(t)
	d := i.directory()
	state := i.begin(d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon); got == "" {
		t.Fatal(err)
	}
	if got, err := d.Finish(t.Context(), state, state, "good", noon); !errors.Is(err, ErrRefused) {
		t.Errorf("twice: %q %v", got, err)
	}
	state = i.begin(d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon.Add(flowFor)); !errors.Is(err, ErrRefused) {
		t.Errorf("after ten minutes: %q %v", got, err)
	}
	for range mostFlows + 10 {
		i.begin(d)
	}
	if len(d.flows) > mostFlows {
		t.Errorf("%d log-ins are remembered", len(d.flows))
	}
}

// A directory that is away is asked again, and one that came back is used.
func TestADirectoryThatIsAway(t *testing.T) {
	i := newIssuer(t)
	i.away = true
	d := i.directory()
	if _, _, err := d.Begin(noon); !errors.Is(err, ErrAway) {
		t.Errorf("away: %v", err)
	}
	i.away = false
	state := i.begin(d)
	i.away = true
	if _, err := d.Finish(t.Context(), state, state, "good", noon); err == nil {
		t.Error("it is away, and has shown who that is")
	}
	i.away = false
	state = i.begin(d)
	if got, err := d.Finish(t.Context(), state, state, "good", noon); got != "4711-anna" {
		t.Errorf("%q %v", got, err)
	}
	d.secret = func() (string, error) { return "", errors.New("secret in s: it is empty") }
	if _, _, err := d.Begin(noon); !errors.Is(err, ErrAway) {
		t.Errorf("without its secret: %v", err)
	}
}
