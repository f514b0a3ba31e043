package api

import (
	"context"
	"errors"
	"net/url"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	qr "github.com/piglig/go-qr"

	"weald/rules"
	"weald/stream/pipeline"
	"weald/stream/seatlink"
	"weald/stream/view"
)

// SeatPage is the path of the page that links of seats lead to. A key follows it
// behind a #, so that it is in no request, no log of one and no referrer.
const SeatPage = "/seat/"

type seatLink struct {
	ID          string     `json:"id"`
	Place       string     `json:"place"`
	MadeAt      time.Time  `json:"made_at"`
	By          string     `json:"by" doc:"The code of who made it"`
	Why         string     `json:"why"`
	WithdrawnAt *time.Time `json:"withdrawn_at" doc:"null while it works"`
	WithdrawnBy string     `json:"withdrawn_by"`
	UsedAt      *time.Time `json:"used_at" doc:"When it was last used since the start; null if it was not"`
}

type seatLinksInput struct {
	Place string `query:"place" doc:"Only links of this seat"`
}

type seatLinksBody struct {
	Links []seatLink `json:"links" nullable:"false" doc:"In the order of their making. None has its key"`
}

type newSeatLink struct {
	Body struct {
		Place string `json:"place" minLength:"1" maxLength:"64" doc:"The seat's id in the configuration"`
		By    string `json:"by,omitempty" maxLength:"64" doc:"Who makes it, a code such as N-4; known by itself where there are accounts"`
		Why   string `json:"why,omitempty" maxLength:"4000" doc:"No names"`
		Base  string `json:"base" minLength:"1" maxLength:"200" doc:"Under which address a phone reaches these pages, such as https://weald.example"`
	}
}

type madeSeatLink struct {
	Link seatLink `json:"link"`
	URL  string   `json:"url" doc:"The link itself, with its key: it is told here and never again"`
	QR   []string `json:"qr" nullable:"false" doc:"The same as a QR code, row by row: 1 is dark. A margin of four belongs around it"`
}

type withdrawInput struct {
	Link string `path:"link" doc:"The link's id"`
	Body struct {
		By  string `json:"by,omitempty" maxLength:"64" doc:"Who withdraws it, a code such as N-4; known by itself where there are accounts"`
		Why string `json:"why,omitempty" maxLength:"4000" doc:"No names"`
	}
}

func (s *server) addSeatLinks(api huma.API) {
	huma.Register(api, operation("seat-links", "Links with which whoever sits may look at the own seat"), s.listSeatLinks)
	huma.Register(api, noted("make-seat-link", "Make a link to one seat's own page; it is on the disk when this is answered", 404, 409), s.makeSeatLink)
	huma.Register(api, noted("withdraw-seat-link", "Withdraw a link: it opens nothing from then on", 404, 409), s.withdrawSeatLink)
}

func seatLinkOf(l *seatlink.Link) seatLink {
	return seatLink{ID: l.ID, Place: l.Place, MadeAt: l.At.Time(), By: l.By, Why: l.Why,
		WithdrawnAt: view.Moment(l.WithdrawnAt), WithdrawnBy: l.WithdrawnBy, UsedAt: view.Moment(l.Used)}
}

// linking returns an error where no links are kept.
func (s *server) linking() error {
	if s.Links == nil {
		return huma.Error503ServiceUnavailable("there are no links: the configuration names no folder for the record; give it data: and a folder")
	}
	return nil
}

func (s *server) listSeatLinks(_ context.Context, in *seatLinksInput) (*answer[seatLinksBody], error) {
	if err := s.linking(); err != nil {
		return nil, err
	}
	a := &answer[seatLinksBody]{Body: seatLinksBody{Links: []seatLink{}}}
	for _, l := range s.Links.All() {
		if in.Place == "" || l.Place == in.Place {
			a.Body.Links = append(a.Body.Links, seatLinkOf(&l))
		}
	}
	return a, nil
}

func (s *server) makeSeatLink(ctx context.Context, in *newSeatLink) (*answer[madeSeatLink], error) {
	if err := s.linking(); err != nil {
		return nil, err
	}
	b := &in.Body
	i, err := s.place(b.Place)
	switch {
	case err != nil:
		return nil, err
	case s.Plan.Places[i].Kind != rules.Seat:
		return nil, huma.Error422UnprocessableEntity("place: " + b.Place + " is no seat, and this page is for whoever sits")
	}
	if err := s.sign(ctx, "by", &b.By); err != nil {
		return nil, err
	}
	base, err := baseOf(b.Base)
	if err != nil {
		return nil, err
	}
	d, err := s.deed(ctx, b.By, b.Why)
	if err != nil {
		return nil, err
	}
	l, key, err := s.Links.Make(ctx, b.Place, d)
	if err != nil {
		return nil, linkError(err)
	}
	m := madeSeatLink{Link: seatLinkOf(&l), URL: base + SeatPage + "#" + key}
	if m.QR, err = qrRows(m.URL); err != nil {
		return nil, huma.Error500InternalServerError("the QR code: " + err.Error())
	}
	return &answer[madeSeatLink]{m}, nil
}

func (s *server) withdrawSeatLink(ctx context.Context, in *withdrawInput) (*answer[seatLink], error) {
	if err := s.linking(); err != nil {
		return nil, err
	}
	if err := s.sign(ctx, "by", &in.Body.By); err != nil {
		return nil, err
	}
	d, err := s.deed(ctx, in.Body.By, in.Body.Why)
	if err != nil {
		return nil, err
	}
	l, err := s.Links.Withdraw(ctx, in.Link, d)
	if err != nil {
		return nil, linkError(err)
	}
	return &answer[seatLink]{seatLinkOf(&l)}, nil
}

// deed is what a person does now, on the daemon's clock.
func (s *server) deed(ctx context.Context, by, why string) (seatlink.Deed, error) {
	d := seatlink.Deed{By: by, Why: why}
	if err := wordsError("why", why); err != nil {
		return d, err
	}
	err := s.ask(ctx, func(st *pipeline.State) { d.At, d.Written = st.Now(), st.Now() })
	return d, err
}

// qrRows is a text as a QR code.
func qrRows(text string) ([]string, error) {
	code, err := qr.EncodeText(text, qr.Medium)
	if err != nil {
		return nil, err
	}
	rows := make([]string, code.Size())
	for y := range rows {
		var row strings.Builder
		for x := range rows {
			row.WriteByte(map[bool]byte{false: '0', true: '1'}[code.Module(x, y)])
		}
		rows[y] = row.String()
	}
	return rows, nil
}

// baseOf is the address that links begin with.
func baseOf(text string) (string, error) {
	u, err := url.Parse(strings.TrimSuffix(text, "/"))
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
		return "", huma.Error422UnprocessableEntity("base: give the begin of an address, such as https://weald.example")
	}
	return u.Scheme + "://" + u.Host, nil
}

// linkError says why a link was not made or withdrawn.
func linkError(err error) error {
	switch {
	case errors.Is(err, seatlink.ErrNone):
		return huma.Error404NotFound(err.Error())
	case errors.Is(err, seatlink.ErrGone), errors.Is(err, seatlink.ErrTooMany):
		return huma.Error409Conflict(err.Error())
	}
	return notKept(err)
}
