// Package directorytest is for tests only: a directory that speaks OpenID Connect, whose
// tokens are made by hand, by the standards, and not with the library that reads them.
package directorytest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

var b64 = base64.RawURLEncoding

// An Issuer is a directory that does not exist. What it says of whoever comes is what
// the test has it say.
type Issuer struct {
	URL  string
	Away bool // answers that it is being mended

	Claims    map[string]any // of the log-in that goes on
	Challenge string
	Forger    *ecdsa.PrivateKey // signs instead of it, where there is one
	Alg       string

	t   testing.TB
	key *ecdsa.PrivateKey
}

// What it knows the daemon by, and gives for a code.
const (
	ClientID = "weald"
	Secret   = "hush"
	Return   = "https://weald.example/api/v1/directory/return"
	Code     = "good"
	Subject  = "4711-anna"
)

// New starts one, until the test ends.
func New(t testing.TB) *Issuer {
	i := &Issuer{t: t, Alg: "ES256"}
	i.key = i.NewKey()
	mux := http.NewServeMux()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if i.Away {
			http.Error(w, "being mended", http.StatusBadGateway)
			return
		}
		mux.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	i.URL = server.URL
	at := i.URL
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
		if r.FormValue("code") != Code || b64.EncodeToString(sum[:]) != i.Challenge || id != ClientID || secret != Secret || r.FormValue("redirect_uri") != Return {
			w.WriteHeader(http.StatusBadRequest)
			say(w, map[string]any{"error": "invalid_grant"})
			return
		}
		say(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": i.token()})
	})
	return i
}

// NewKey makes a key that is not its own.
func (i *Issuer) NewKey() *ecdsa.PrivateKey {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		i.t.Fatal(err)
	}
	return key
}

// token is a JSON Web Token (RFC 7519), signed by RFC 7518, section 3.4.
func (i *Issuer) token() string {
	head, _ := json.Marshal(map[string]any{"alg": i.Alg, "kid": "one", "typ": "JWT"})
	body, _ := json.Marshal(i.Claims)
	signed := b64.EncodeToString(head) + "." + b64.EncodeToString(body)
	if i.Alg == "none" {
		return signed + "."
	}
	key := i.key
	if i.Forger != nil {
		key = i.Forger
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

// Sent takes note of whom the daemon has sent to an address, at an instant, and returns
// the state that it gave.
func (i *Issuer) Sent(to string, now time.Time) (state string) {
	i.t.Helper()
	u, err := url.Parse(to)
	if err != nil || !strings.HasPrefix(to, i.URL+"/authorize?") {
		i.t.Fatalf("sent to %s", to)
	}
	q := u.Query()
	if q.Get("code_challenge_method") != "S256" || q.Get("response_type") != "code" || q.Get("client_id") != ClientID || q.Get("redirect_uri") != Return {
		i.t.Errorf("asks %v", q)
	}
	i.Challenge = q.Get("code_challenge")
	i.Claims = map[string]any{"iss": i.URL, "aud": ClientID, "sub": Subject, "exp": now.Add(time.Minute).Unix(), "iat": now.Unix(), "nonce": q.Get("nonce"), "staff": 4711}
	return q.Get("state")
}
