package webhook

import (
	"bytes"
	"cmp"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"syscall"
	"time"

	"weald/ingest/sample"
	"weald/ingest/tcp/wire"
	"weald/stream/notify"
	"weald/stream/notify/secret"
)

// Patience is how long a receiver may take for its whole answer.
const Patience = 10 * time.Second

// A Hook is a receiver. Any goroutine may use it.
type Hook struct {
	// URL is where to send to, http or https. Where the address is itself a
	// secret it is empty, and Address has it.
	URL     string
	Address secret.Source

	Secret secret.Source   // of the signature
	TLS    *wire.ClientTLS // for https; nil for what the system trusts

	// Patience is how long to wait; 0 for the package's.
	Patience time.Duration
}

// Reaches implements outbox.Sender.
func (h *Hook) Reaches() string {
	if h.URL == "" {
		return "webhook at an address that is kept secret"
	}
	to, err := url.Parse(h.URL)
	if err != nil {
		return "webhook"
	}
	return "webhook at " + to.Scheme + "://" + to.Host // the rest may be a secret to somebody who did not know better
}

// Sign returns the signature of a body at a timestamp.
func Sign(secret string, timestamp int64, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	fmt.Fprintf(mac, "%d.", timestamp)
	mac.Write(body)
	return "v1=" + hex.EncodeToString(mac.Sum(nil))
}

// never are the answers after which a message is given up.
var never = []int{http.StatusBadRequest, http.StatusMethodNotAllowed, http.StatusGone,
	http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity}

// Send implements outbox.Sender.
func (h *Hook) Send(ctx context.Context, s *notify.Sending) error {
	return h.Post(ctx, s.Key, s.At, s.JSON())
}

// Post posts a body of JSON under a key, signed at an instant. Its errors are as those
// of Send.
func (h *Hook) Post(ctx context.Context, name string, now sample.Instant, body []byte) error {
	patience := h.Patience
	if patience == 0 {
		patience = Patience
	}
	ctx, cancel := context.WithTimeoutCause(ctx, patience, errSlow)
	defer cancel()
	key, err := h.Secret.Read()
	if err != nil {
		return err
	}
	to, err := h.address()
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to.String(), bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("%s: no request can be made for it", to.Host)
	}
	at := now.Time().Unix()
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("User-Agent", "weald")
	req.Header.Set("Idempotency-Key", name)
	req.Header.Set("Weald-Timestamp", strconv.FormatInt(at, 10))
	req.Header.Set("Weald-Signature", Sign(key, at, body))
	var unreached error
	answer, err := h.client(&unreached).Do(req)
	if err != nil {
		return explain(ctx, to.Host, err, unreached)
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10)); err != nil {
		return explain(ctx, to.Host, err, nil)
	}
	switch code := answer.StatusCode; {
	case code >= 200 && code < 300:
		return nil
	case code >= 300 && code < 400:
		return fmt.Errorf("%s redirects (%d), which is not followed: give the final address", to.Host, code)
	case slices.Contains(never, code):
		return &notify.Refusal{Why: fmt.Sprintf("%s will never take it: %d %s", to.Host, code, http.StatusText(code))}
	default:
		return fmt.Errorf("%s answers %d %s", to.Host, code, http.StatusText(code))
	}
}

// Try connects to the receiver, with TLS where the address has it, and says nothing.
// Its errors are as those of Send.
func (h *Hook) Try(ctx context.Context) error {
	if _, err := h.Secret.Read(); err != nil {
		return err
	}
	to, err := h.address()
	if err != nil {
		return err
	}
	port := cmp.Or(to.Port(), map[string]string{"http": "80", "https": "443"}[to.Scheme])
	var secure *wire.ClientTLS
	if to.Scheme == "https" {
		secure = cmp.Or(h.TLS, &wire.ClientTLS{})
	}
	c, err := wire.Dial(ctx, net.JoinHostPort(to.Hostname(), port), secure)
	if err != nil {
		return err
	}
	return c.Close()
}

var errSlow = errors.New("it took too long")

func (h *Hook) address() (*url.URL, error) {
	text := h.URL
	if text == "" {
		var err error
		if text, err = h.Address.Read(); err != nil {
			return nil, err
		}
	}
	to, err := url.Parse(text)
	if err != nil || to.Host == "" || to.Scheme != "http" && to.Scheme != "https" {
		return nil, errors.New("the address of the webhook is no http or https URL") // which may be a secret
	}
	return to, nil
}

// client returns a client for one attempt, which leaves no connection behind: the
// next one may be hours away. It puts the reason for which the receiver was not
// reached into unreached.
func (h *Hook) client(unreached *error) *http.Client {
	secure := h.TLS
	if secure == nil {
		secure = &wire.ClientTLS{}
	}
	return &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			DisableKeepAlives:      true,
			MaxResponseHeaderBytes: 64 << 10,
			DialContext: func(ctx context.Context, _, address string) (c net.Conn, err error) {
				c, *unreached = wire.Dial(ctx, address, nil)
				return c, *unreached
			},
			DialTLSContext: func(ctx context.Context, _, address string) (c net.Conn, err error) {
				c, *unreached = wire.Dial(ctx, address, secure)
				return c, *unreached
			},
		},
	}
}

// explain says why there is no answer. What net/http says would name the whole
// address, or bytes that the receiver has sent.
func explain(ctx context.Context, host string, err, unreached error) error {
	slow := errors.Is(context.Cause(ctx), errSlow) || errors.Is(context.Cause(ctx), context.DeadlineExceeded)
	switch lost := wire.Lost(host, err); {
	case slow:
		return wire.Plain(err, "%s has not answered in time", host)
	case unreached != nil:
		return unreached
	case lost == io.EOF:
		return wire.Plain(err, "%s ended the connection before it had answered", host)
	case errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return wire.Plain(err, "%s broke the connection off", host)
	}
	return wire.Plain(err, "what %s answers is not HTTP", host)
}
