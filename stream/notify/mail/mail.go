package mail

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/smtp"
	"net/textproto"
	"slices"
	"strings"
	"time"

	"weald/ingest/tcp/wire"
	"weald/stream/notify"
	"weald/stream/notify/secret"
)

// Patience is how long a server may take for a whole mail.
const Patience = 30 * time.Second

// A Security is how a connection becomes private.
type Security string

// The securities.
const (
	StartTLS Security = "starttls"
	Implicit Security = "implicit"
	None     Security = "none" // for a server on this machine, and without an account
)

// A Box is a mail server and who gets mail. Any goroutine may use it.
type Box struct {
	Server   string // host:port
	Security Security
	TLS      *wire.ClientTLS // nil for what the system trusts
	User     string          // "" for no account
	Password secret.Source
	From     string
	To       []string

	// Patience is how long to wait; 0 for the package's.
	Patience time.Duration

	rests rests
}

// Reaches implements outbox.Sender.
func (b *Box) Reaches() string { return "mail to " + strings.Join(b.To, ", ") + " by " + b.Server }

// Send implements outbox.Sender.
func (b *Box) Send(ctx context.Context, s *notify.Sending) error {
	patience := b.Patience
	if patience == 0 {
		patience = Patience
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	password := ""
	if b.User != "" {
		if b.Security == None {
			return errors.New("an account is not used without TLS")
		}
		var err error
		if password, err = b.Password.Read(); err != nil {
			return err
		}
	}
	conn, err := b.dial(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	stop := context.AfterFunc(ctx, func() { conn.SetDeadline(time.Now()) })
	defer stop()
	r := b.rests.of(s.Key, b.To)
	err = b.explain(b.talk(&bounded{Conn: conn, left: mostAnswers}, s, password, r))
	return b.rests.after(s.Key, r, err)
}

// Try connects to the server, with TLS where the connection begins with it, and says
// nothing. Its errors are as those of Send.
func (b *Box) Try(ctx context.Context) error {
	if _, err := b.Password.Read(); err != nil {
		return err
	}
	c, err := b.dial(ctx)
	if err != nil {
		return err
	}
	return c.Close()
}

// mostAnswers is how much a server may say, in bytes, to one mail.
const mostAnswers = 1 << 20

// farewellTime is how long a server that has taken a mail may take for a farewell.
const farewellTime = time.Second

// A bounded connection ends where its peer says more than it may.
type bounded struct {
	net.Conn
	left int
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, errFlood
	}
	n, err := b.Conn.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

var errFlood = errors.New("it says too much")

func (b *Box) secure() *wire.ClientTLS {
	if b.TLS == nil {
		return &wire.ClientTLS{}
	}
	return b.TLS
}

func (b *Box) dial(ctx context.Context) (net.Conn, error) {
	if b.Security == Implicit {
		return wire.Dial(ctx, b.Server, b.secure())
	}
	return wire.Dial(ctx, b.Server, nil)
}

// talk speaks SMTP (RFC 5321) until the mail is taken by all who are left, as far as
// they are.
func (b *Box) talk(conn net.Conn, s *notify.Sending, password string, r *rest) error {
	host, _, err := net.SplitHostPort(b.Server)
	if err != nil {
		return err
	}
	c, err := smtp.NewClient(conn, host)
	if err != nil {
		return err
	}
	if b.Security == StartTLS {
		if ok, _ := c.Extension("STARTTLS"); !ok {
			return fmt.Errorf("%s offers no STARTTLS, and nothing is sent without TLS: try security: implicit, or another port", b.Server)
		}
		conf, err := b.secure().Config(b.Server)
		if err != nil {
			return err
		}
		if err := c.StartTLS(conf); err != nil {
			return wire.NoHandshake(b.Server, err)
		}
	}
	if b.User != "" {
		if err := b.authenticate(c, host, password); err != nil {
			return err
		}
	}
	if err := c.Mail(b.From); err != nil {
		return err
	}
	for _, to := range r.to {
		if err := r.answered(to, c.Rcpt(to)); err != nil {
			return err
		}
	}
	if len(r.takes) == 0 {
		return r.why()
	}
	w, err := c.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write(compose(s, b.From, b.To)); err != nil {
		return err
	}
	if err := w.Close(); err != nil { // until here nobody has taken anything over
		return err
	}
	r.taken()
	conn.SetDeadline(time.Now().Add(farewellTime))
	_ = c.Quit() // it has been taken; a farewell that fails changes nothing
	return r.why()
}

// authenticate says who we are, over TLS only.
func (b *Box) authenticate(c *smtp.Client, host, password string) error {
	if _, private := c.TLSConnectionState(); !private && b.Security != Implicit {
		return errors.New("an account is not used without TLS")
	}
	offered, ways := c.Extension("AUTH")
	if !offered {
		return fmt.Errorf("%s takes no account: leave user out, or use the port for submission", b.Server)
	}
	var auth smtp.Auth = login{b.User, password}
	if slices.Contains(strings.Fields(ways), "PLAIN") {
		auth = plain{b.User, password}
	}
	return c.Auth(auth)
}

// plain is PLAIN of RFC 4616. That of net/smtp does not know that the connection
// began with TLS.
type plain struct{ user, password string }

func (p plain) Start(*smtp.ServerInfo) (string, []byte, error) {
	return "PLAIN", []byte("\x00" + p.user + "\x00" + p.password), nil
}

func (plain) Next(_ []byte, more bool) ([]byte, error) {
	if more {
		return nil, errors.New("the server asks for more than PLAIN has")
	}
	return nil, nil
}

// login is the older way that some servers have alone: a user and a password, each
// when asked for.
type login struct{ user, password string }

func (login) Start(*smtp.ServerInfo) (string, []byte, error) { return "LOGIN", nil, nil }

func (l login) Next(ask []byte, more bool) ([]byte, error) {
	switch {
	case !more:
		return nil, nil
	case strings.HasPrefix(strings.ToLower(string(ask)), "user"):
		return []byte(l.user), nil
	case strings.HasPrefix(strings.ToLower(string(ask)), "pass"):
		return []byte(l.password), nil
	}
	return nil, errors.New("the server asks for something else than a user and a password")
}

// account are answers about the account, which somebody can mend.
var account = []int{530, 534, 535, 538}

// explain says what went wrong, without what the server has said word for word: it
// may repeat what it was told.
func (b *Box) explain(err error) error {
	if err == nil {
		return nil
	}
	about := ""
	if refused, ok := errors.AsType[*recipient](err); ok {
		about = refused.String()
	}
	if errors.Is(err, errFlood) {
		return wire.Plain(err, "%s says too much", b.Server)
	}
	if answer, ok := errors.AsType[*textproto.Error](err); ok {
		switch {
		case slices.Contains(account, answer.Code):
			return wire.Plain(err, "%s does not take the account of %s (%d)", b.Server, b.User, answer.Code)
		case answer.Code >= 500 && answer.Code < 600:
			return &notify.Refusal{Why: fmt.Sprintf("%s will never take it%s: %d", b.Server, about, answer.Code)}
		}
		return wire.Plain(err, "%s does not take it%s now: %d", b.Server, about, answer.Code)
	}
	if _, ok := errors.AsType[textproto.ProtocolError](err); ok {
		return wire.Plain(err, "%s does not speak SMTP", b.Server)
	}
	if lost := wire.Lost(b.Server, err); lost == io.EOF {
		return wire.Plain(err, "%s ended the connection before it had taken the mail", b.Server)
	} else if !errors.Is(lost, err) || lost.Error() != b.Server+": "+err.Error() {
		return lost
	}
	return err
}
