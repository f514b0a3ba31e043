package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/ingest/sample"
	"weald/stream/access"
	"weald/stream/view"
)

// ScreenPage is the path of the page that makes a browser a wall screen. A key follows
// it behind a #, as with SeatPage.
const ScreenPage = "/screen"

type accountView struct {
	Name      string    `json:"name"`
	Role      string    `json:"role" enum:"viewer,carer,engineer,admin"`
	MadeAt    time.Time `json:"made_at"`
	MadeBy    string    `json:"made_by"`
	ChangedAt time.Time `json:"changed_at" doc:"The password, or the role"`
	Directory string    `json:"directory" doc:"Who it is to the directory of the house, by the claim of the configuration; empty for nobody"`
	Sessions  int       `json:"sessions" doc:"Log-ins that last"`
}

type accountsBody struct {
	Accounts []accountView `json:"accounts" nullable:"false"`
}

type newAccount struct {
	Body struct {
		Name     string `json:"name" maxLength:"64" doc:"A short name, or a code such as N-4: the record names by it who did what"`
		Role     string `json:"role" enum:"viewer,carer,engineer,admin"`
		Password string `json:"password" maxLength:"1024" doc:"12 characters at least. Whoever it is for changes it"`
	}
}

type accountInput struct {
	Account string `path:"account" doc:"Its name"`
}

type roleInput struct {
	Account string `path:"account" doc:"Its name"`
	Body    struct {
		Role string `json:"role" enum:"viewer,carer,engineer,admin"`
	}
}

type passwordInput struct {
	Account string `path:"account" doc:"Its name"`
	Body    struct {
		Password string `json:"password" maxLength:"1024"`
	}
}

type directoryInput struct {
	Account string `path:"account" doc:"Its name"`
	Body    struct {
		Directory string `json:"directory" maxLength:"200" doc:"The value of the claim; empty for nobody any more"`
	}
}

type passView struct {
	ID          string     `json:"id"`
	Means       string     `json:"means" enum:"token,screen"`
	Name        string     `json:"name"`
	Role        string     `json:"role" enum:"wall,viewer,carer,engineer,admin"`
	Range       string     `json:"range" doc:"Of addresses from which it opens; empty for all"`
	EndsAt      *time.Time `json:"ends_at" doc:"null where it works until it is withdrawn"`
	MadeAt      time.Time  `json:"made_at"`
	MadeBy      string     `json:"made_by"`
	WithdrawnAt *time.Time `json:"withdrawn_at" doc:"null while it is not"`
	WithdrawnBy string     `json:"withdrawn_by"`
	UsedAt      *time.Time `json:"used_at" doc:"When it was last used since the start; null if it was not"`
}

type passesBody struct {
	Passes []passView `json:"passes" nullable:"false" doc:"In the order of their making. None has its key"`
}

type newPass struct {
	Body struct {
		Means  string    `json:"means" enum:"token,screen" doc:"A token lets a program do what a role may; a screen shows what is now on a wall"`
		Name   string    `json:"name" maxLength:"64" doc:"What it is for, such as corridor"`
		Role   string    `json:"role,omitempty" enum:"viewer,carer,engineer,admin" doc:"Of a token"`
		Range  string    `json:"range,omitempty" maxLength:"64" doc:"Addresses from which it opens, such as 192.0.2.7 or 192.0.2.0/28; a screen needs them"`
		EndsAt time.Time `json:"ends_at,omitempty" doc:"Of a token, at most 366 days from now"`
		Base   string    `json:"base,omitempty" maxLength:"200" doc:"Of a screen: under which address it reaches these pages, such as https://weald.example"`
	}
}

type madePass struct {
	Pass passView `json:"pass"`
	Key  string   `json:"key" doc:"Of a token: goes into Authorization: Bearer …; it is told here and never again. Empty for a screen"`
	URL  string   `json:"url" doc:"Of a screen: to be opened on it once; it is told here and never again. Empty for a token"`
}

type passInput struct {
	Pass string `path:"pass" doc:"Its id"`
}

func (s *server) addAccounts(api huma.API) {
	huma.Register(api, operation("accounts", "Accounts, without their passwords", 409), s.listAccounts)
	huma.Register(api, noted("make-account", "Make an account", 409), s.makeAccount)
	huma.Register(api, step("account-role", "Give an account another role, at once", 404, 409), func(ctx context.Context, in *roleInput) (*answer[accountsBody], error) {
		role, err := access.ParseRole(in.Body.Role)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity("role: " + err.Error())
		}
		return s.alter(ctx, func(d access.Deed) error { return s.Access.SetRole(ctx, d, in.Account, role) })
	})
	huma.Register(api, step("account-password", "Give an account another password, which ends its sessions", 404, 409), func(ctx context.Context, in *passwordInput) (*answer[accountsBody], error) {
		return s.alter(ctx, func(d access.Deed) error { return s.Access.SetPassword(ctx, d, in.Account, in.Body.Password) })
	})
	huma.Register(api, step("account-directory", "Say who an account is to the directory of the house, who can then log in there", 404, 409), func(ctx context.Context, in *directoryInput) (*answer[accountsBody], error) {
		return s.alter(ctx, func(d access.Deed) error { return s.Access.SetDirectory(ctx, d, in.Account, in.Body.Directory) })
	})
	huma.Register(api, step("account-log-out", "End all sessions of an account", 404, 409), func(ctx context.Context, in *accountInput) (*answer[accountsBody], error) {
		return s.alter(ctx, func(d access.Deed) error { return s.Access.EndSessions(ctx, d, in.Account) })
	})
	huma.Register(api, step("remove-account", "Remove an account, which ends its sessions", 404, 409), func(ctx context.Context, in *accountInput) (*answer[accountsBody], error) {
		return s.alter(ctx, func(d access.Deed) error { return s.Access.Remove(ctx, d, in.Account) })
	})
	huma.Register(api, operation("passes", "Tokens of programs and links of wall screens, without their keys", 409), s.listPasses)
	huma.Register(api, noted("make-pass", "Make a token or a link for a wall screen", 409), s.makePass)
	huma.Register(api, step("withdraw-pass", "Withdraw a token or a screen: it opens nothing from then on", 404, 409), s.withdrawPass)
}

// doing is who changes something about accounts, now.
func (s *server) doing(ctx context.Context) access.Deed {
	return access.Deed{By: access.From(ctx).Author("console"), Now: s.Now()}
}

// alter changes accounts, and says what there is then.
func (s *server) alter(ctx context.Context, f func(access.Deed) error) (*answer[accountsBody], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	if err := f(s.doing(ctx)); err != nil {
		return nil, doorError(err)
	}
	return s.listAccounts(ctx, nil)
}

func (s *server) listAccounts(context.Context, *struct{}) (*answer[accountsBody], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	a := &answer[accountsBody]{accountsBody{Accounts: []accountView{}}}
	for _, x := range s.Access.Accounts(s.Now()) {
		a.Body.Accounts = append(a.Body.Accounts, accountView{x.Name, x.Role.String(), x.MadeAt, x.MadeBy, x.ChangedAt, x.Directory, x.Sessions})
	}
	return a, nil
}

func (s *server) makeAccount(ctx context.Context, in *newAccount) (*answer[accountsBody], error) {
	role, err := access.ParseRole(in.Body.Role)
	if err != nil {
		return nil, huma.Error422UnprocessableEntity("role: " + err.Error())
	}
	access.Of(ctx).About = "account=" + in.Body.Name + " role=" + in.Body.Role
	return s.alter(ctx, func(d access.Deed) error { return s.Access.Make(ctx, d, in.Body.Name, role, in.Body.Password) })
}

func passOf(p *access.Pass) passView {
	v := passView{ID: p.ID, Means: string(p.Means), Name: p.Name, Role: p.Role.String(), EndsAt: view.Moment(p.Ends), MadeAt: p.MadeAt.Time(), MadeBy: p.MadeBy,
		WithdrawnAt: view.Moment(p.WithdrawnAt), WithdrawnBy: p.WithdrawnBy, UsedAt: view.Moment(p.Used)}
	if p.Range.IsValid() {
		v.Range = p.Range.String()
	}
	return v
}

func (s *server) listPasses(context.Context, *struct{}) (*answer[passesBody], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	a := &answer[passesBody]{passesBody{Passes: []passView{}}}
	for _, p := range s.Access.Passes() {
		a.Body.Passes = append(a.Body.Passes, passOf(&p))
	}
	return a, nil
}

func (s *server) makePass(ctx context.Context, in *newPass) (*answer[madePass], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	b := &in.Body
	ask := access.Pass{Means: access.Means(b.Means), Name: b.Name, Ends: sample.Never}
	var base string
	var err error
	if ask.Means == access.Token {
		if ask.Role, err = access.ParseRole(b.Role); err != nil {
			return nil, huma.Error422UnprocessableEntity("role: " + err.Error())
		}
		if b.EndsAt.IsZero() {
			return nil, huma.Error422UnprocessableEntity("ends_at: a token ends: say when")
		}
		if ask.Ends, err = instantOf(b.EndsAt); err != nil {
			return nil, err
		}
	} else if base, err = baseOf(b.Base); err != nil {
		return nil, err
	}
	if ask.Range, err = access.ParseRange(b.Range); err != nil && (b.Range != "" || ask.Means == access.Screen) {
		return nil, huma.Error422UnprocessableEntity("range: " + err.Error())
	}
	access.Of(ctx).About = b.Means + "=" + b.Name
	p, key, err := s.Access.MakePass(ctx, s.doing(ctx), ask)
	if err != nil {
		return nil, doorError(err)
	}
	made := madePass{Pass: passOf(&p), Key: key}
	if p.Means == access.Screen {
		made.Key, made.URL = "", base+ScreenPage+"#"+key
	}
	return &answer[madePass]{made}, nil
}

func (s *server) withdrawPass(ctx context.Context, in *passInput) (*answer[passView], error) {
	if err := s.doors(); err != nil {
		return nil, err
	}
	p, err := s.Access.WithdrawPass(ctx, s.doing(ctx), in.Pass)
	if err != nil {
		return nil, doorError(err)
	}
	return &answer[passView]{passOf(&p)}, nil
}
