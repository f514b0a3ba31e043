package directory

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"
)

// Settings are those of a directory.
type Settings struct {
	Issuer   string // its address, as it names itself
	ClientID string // what it calls this daemon
	Claim    string // by which it tells people apart, "sub"
	Return   string // the address to which it sends browsers back
}

// Errors of a log-in.
var (
	// ErrAway means that the directory cannot be asked.
	ErrAway = errors.New("the directory does not answer")
	// ErrRefused means that what came back does not show who somebody is.
	ErrRefused = errors.New("the directory has not shown who that is")
)

// How long somebody may take at the directory, how many may be there at the same
// time, and how long it may take to answer.
const (
	flowFor      = 10 * time.Minute
	mostFlows    = 1000
	answerWithin = 5 * time.Second
	mostAnswer   = 1 << 20
)

// A flow is somebody who has been sent there.
type flow struct {
	nonce, verifier string
	until           time.Time
}

// A Directory is asked who somebody is. Any goroutine may use it.
type Directory struct {
	settings Settings
	secret   func() (string, error)
	client   *http.Client

	finding sync.Mutex // held while it is found out how to ask

	mu       sync.Mutex
	provider *oidc.Provider  // guarded by mu; nil until it has answered once
	flows    map[string]flow // guarded by mu; by state
}

// New returns a directory, of which nothing has been asked yet. secret returns what it
// knows this daemon by, or "".
func New(s Settings, secret func() (string, error)) *Directory {
	client := &http.Client{
		Timeout: answerWithin, Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, ResponseHeaderTimeout: answerWithin, MaxResponseHeaderBytes: 64 << 10},
		// An address that it does not name is not asked for it.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	client.Transport = bounded{client.Transport}
	return &Directory{settings: s, secret: secret, client: client, flows: map[string]flow{}}
}

// find finds out how to ask, once that has succeeded.
func (d *Directory) find() (*oidc.Provider, error) {
	d.finding.Lock()
	defer d.finding.Unlock()
	d.mu.Lock()
	found := d.provider
	d.mu.Unlock()
	if found != nil {
		return found, nil
	}
	// The provider keeps the context, to ask for keys later on.
	found, err := oidc.NewProvider(oidc.ClientContext(context.Background(), d.client), d.settings.Issuer)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrAway, err)
	}
	d.mu.Lock()
	d.provider = found
	d.mu.Unlock()
	return found, nil
}

func (d *Directory) oauth(p *oidc.Provider) (*oauth2.Config, error) {
	secret, err := d.secret()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrAway, err)
	}
	return &oauth2.Config{ClientID: d.settings.ClientID, ClientSecret: secret, Endpoint: p.Endpoint(), RedirectURL: d.settings.Return, Scopes: []string{oidc.ScopeOpenID, "profile", "email"}}, nil
}

// Begin returns where to send somebody, and the state that the browser has to bring
// back, in a cookie and in the address. Its errors wrap ErrAway.
func (d *Directory) Begin(now time.Time) (to, state string, err error) {
	p, err := d.find()
	if err != nil {
		return "", "", err
	}
	conf, err := d.oauth(p)
	if err != nil {
		return "", "", err
	}
	state = rand.Text()
	f := flow{nonce: rand.Text(), verifier: oauth2.GenerateVerifier(), until: now.Add(flowFor)}
	d.mu.Lock()
	defer d.mu.Unlock()
	oldest := state
	for s, other := range d.flows {
		if !now.Before(other.until) {
			delete(d.flows, s)
		} else if oldest == state || other.until.Before(d.flows[oldest].until) {
			oldest = s
		}
	}
	if len(d.flows) >= mostFlows {
		delete(d.flows, oldest)
	}
	d.flows[state] = f
	return conf.AuthCodeURL(state, oidc.Nonce(f.nonce), oauth2.S256ChallengeOption(f.verifier)), state, nil
}

// Finish returns who has come back with a code: the value of the claim. The state is
// that of the address and of the cookie, which have to be the same; it counts once. Its
// errors wrap ErrAway or ErrRefused.
func (d *Directory) Finish(ctx context.Context, state, cookie, code string, now time.Time) (string, error) {
	d.mu.Lock()
	f, known := d.flows[state]
	delete(d.flows, state)
	d.mu.Unlock()
	if !known || state != cookie || !now.Before(f.until) || code == "" {
		return "", fmt.Errorf("%w: it did not begin in this browser, or too long ago", ErrRefused)
	}
	p, err := d.find()
	if err != nil {
		return "", err
	}
	conf, err := d.oauth(p)
	if err != nil {
		return "", err
	}
	ctx = oidc.ClientContext(ctx, d.client)
	token, err := conf.Exchange(ctx, code, oauth2.VerifierOption(f.verifier))
	if refused := (*oauth2.RetrieveError)(nil); errors.As(err, &refused) {
		return "", fmt.Errorf("%w: it answers %s to the code", ErrRefused, refused.Response.Status) // its text may hold the code
	}
	if err != nil {
		return "", fmt.Errorf("%w: the code could not be given back", ErrAway)
	}
	raw, ok := token.Extra("id_token").(string)
	if !ok {
		return "", fmt.Errorf("%w: there is no ID token in its answer", ErrRefused)
	}
	verified, err := p.VerifierContext(ctx, &oidc.Config{ClientID: d.settings.ClientID, Now: func() time.Time { return now }}).Verify(ctx, raw)
	if err != nil {
		return "", fmt.Errorf("%w: %w", ErrRefused, err)
	}
	if verified.Nonce != f.nonce {
		return "", fmt.Errorf("%w: the ID token is for another log-in", ErrRefused)
	}
	return claim(verified, d.settings.Claim)
}

// claim returns the value of a claim, which is a text or a whole number.
func claim(t *oidc.IDToken, name string) (string, error) {
	var all map[string]json.RawMessage
	if err := t.Claims(&all); err != nil {
		return "", fmt.Errorf("%w: %w", ErrRefused, err)
	}
	var text string
	if json.Unmarshal(all[name], &text) == nil && text != "" {
		return text, nil
	}
	var number int64
	if len(all[name]) > 0 && json.Unmarshal(all[name], &number) == nil && string(all[name]) != "null" {
		return strconv.FormatInt(number, 10), nil
	}
	return "", fmt.Errorf("%w: the ID token has no claim %s that is a text", ErrRefused, name)
}
