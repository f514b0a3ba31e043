package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/config"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Configuration is the file that a daemon was started with, and what puts it into
// force.
type Configuration interface {
	// Look reads the file.
	Look() ConfigFile

	// Check judges a text as if it were in the file.
	Check(text string) Checked

	// Apply writes a text to the file, if that still has the seal that is given, and
	// puts it into force. Without a text it puts into force what the file has. Who is
	// a code. Its errors are config.Problems, or wrap ErrFileChanged; others say in
	// words why it could not be done. All goes on as before then.
	Apply(text *string, seal, who string) (Applied, error)
}

// ErrFileChanged is why a text is not written to a file.
var ErrFileChanged = errors.New("the file has been changed since it was read")

// A ConfigFile is the configuration in force and the file.
type ConfigFile struct {
	Path    string `json:"path"`
	InForce string `json:"in_force" doc:"The text that is in force"`
	Version uint64 `json:"version" doc:"Of the configuration in force; 0 where no record counts them"`

	Text   string        `json:"text" doc:"What is in the file now"`
	Seal   string        `json:"seal" doc:"Names what is in the file now, for applying another text"`
	Faults []ConfigFault `json:"faults" nullable:"false" doc:"What is wrong with the file"`
	Locked string        `json:"locked" doc:"Why the file cannot be written from here; empty if it can"`
}

// A ConfigFault is one thing that is wrong with a configuration.
type ConfigFault struct {
	Line   int    `json:"line" doc:"From 1; 0 where there is no place"`
	Column int    `json:"column" doc:"From 1, in characters"`
	Text   string `json:"text" doc:"What is wrong, and what would be right"`
}

// ConfigFaults returns problems as faults.
func ConfigFaults(found config.Problems) []ConfigFault {
	out := make([]ConfigFault, len(found))
	for i, p := range found {
		out[i] = ConfigFault{p.Line, p.Column, p.Message}
	}
	return out
}

// Checked is what there is to say of a text for the file.
type Checked struct {
	Faults  []ConfigFault `json:"faults" nullable:"false" doc:"By the checks that weald check makes"`
	Changes []string      `json:"changes" nullable:"false" doc:"What it says differently from the configuration in force; without faults only"`
	Restart []string      `json:"restart" nullable:"false" doc:"What in it needs a restart, so that it cannot be applied"`
}

// Applied is what has come into force.
type Applied struct {
	Version uint64   `json:"version"`
	Changes []string `json:"changes" nullable:"false"`
}

type configText struct {
	Body struct {
		Text string `json:"text" maxLength:"900000"`
	}
}

type configPut struct {
	Body struct {
		Text  string `json:"text" maxLength:"900000"`
		Piece string `json:"piece" maxLength:"900000" doc:"Places, a rule or regions, as the other routes propose them"`
		Place string `json:"place,omitempty" maxLength:"64" doc:"Of regions: whose mat"`
	}
}

type configPutIn struct {
	Text string `json:"text" doc:"With the piece in it; nothing else of it has changed"`
}

type configApply struct {
	Body struct {
		Code string  `json:"code,omitempty" maxLength:"200" doc:"Who does it, as a person's code such as K-07; known by itself where there are accounts"`
		Text *string `json:"text,omitempty" maxLength:"900000" doc:"For the file; without it what is in the file comes into force"`
		Seal string  `json:"seal,omitempty" maxLength:"64" doc:"Of the file as it was read, with a text"`
	}
}

type configVersion struct {
	Version uint64    `json:"version"`
	At      time.Time `json:"at" doc:"When it came into force"`
	By      string    `json:"by" doc:"The code of who applied it; empty where that is not known"`
	Text    string    `json:"text"`
}

type configVersions struct {
	Versions []configVersion `json:"versions" nullable:"false" doc:"The newest first"`
	More     bool            `json:"more" doc:"There are older ones"`
}

// mostVersions is how many are listed: whole files of some kilobytes each.
const mostVersions = 50

func (s *server) addConfiguration(api huma.API) {
	huma.Register(api, operation("configuration", "The configuration in force and the file it is from"), s.configuration)
	huma.Register(api, operation("configuration-versions", "Configurations that were in force, from the record"), s.configurations)
	op := operation("check-configuration", "What is wrong with a text for the file, and what it changes; changes nothing")
	huma.Register(api, op, s.checkConfiguration)
	op = operation("put-configuration", "A text for the file with a piece in it; changes nothing", http.StatusUnprocessableEntity)
	huma.Register(api, op, func(_ context.Context, in *configPut) (*answer[configPutIn], error) {
		text, err := config.Put(in.Body.Text, in.Body.Piece, in.Body.Place)
		if err != nil {
			return nil, huma.Error422UnprocessableEntity(err.Error())
		}
		return &answer[configPutIn]{configPutIn{text}}, nil
	})
	op = operation("apply-configuration", "Write a text to the file and put it into force, or put the file into force", http.StatusConflict, http.StatusUnprocessableEntity)
	huma.Register(api, op, s.applyConfiguration)
}

var errNoFile = huma.Error503ServiceUnavailable("there is no configuration file to work on")

func (s *server) configuration(context.Context, *struct{}) (*answer[ConfigFile], error) {
	if s.Configuration == nil {
		return nil, errNoFile
	}
	return &answer[ConfigFile]{s.Configuration.Look()}, nil
}

func (s *server) checkConfiguration(_ context.Context, in *configText) (*answer[Checked], error) {
	if s.Configuration == nil {
		return nil, errNoFile
	}
	return &answer[Checked]{s.Configuration.Check(in.Body.Text)}, nil
}

func (s *server) applyConfiguration(ctx context.Context, in *configApply) (*answer[Applied], error) {
	if s.Configuration == nil {
		return nil, errNoFile
	}
	if err := s.sign(ctx, "code", &in.Body.Code); err != nil {
		return nil, err
	}
	done, err := s.Configuration.Apply(in.Body.Text, in.Body.Seal, in.Body.Code)
	var problems config.Problems
	switch {
	case err == nil:
		return &answer[Applied]{done}, nil
	case errors.Is(err, ErrFileChanged):
		return nil, huma.Error409Conflict(err.Error())
	case errors.As(err, &problems):
		return nil, huma.Error422UnprocessableEntity(fmt.Sprintf("%d things are wrong with it, and the former configuration stays in force: %s", len(problems), problems.Error()))
	}
	if errors.Is(err, journal.ErrUnreached) || errors.Is(err, journal.ErrFull) {
		return nil, huma.Error503ServiceUnavailable("it could not be kept, and the former configuration stays in force: " + err.Error())
	}
	return nil, huma.Error422UnprocessableEntity(err.Error())
}

func (s *server) configurations(ctx context.Context, _ *struct{}) (*answer[configVersions], error) {
	if s.Record == nil {
		return nil, huma.Error503ServiceUnavailable("no former configurations are kept: the configuration names no folder for the record; give it data: and a folder")
	}
	a := &answer[configVersions]{Body: configVersions{Versions: []configVersion{}}}
	for e, err := range journal.Readable(s.Record.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindConfig}, Newest: true}), nil) {
		if err != nil {
			return nil, huma.Error503ServiceUnavailable("the record cannot be read: " + err.Error())
		}
		if len(a.Body.Versions) == mostVersions {
			a.Body.More = true
			break
		}
		c := e.Body.(record.Config)
		a.Body.Versions = append(a.Body.Versions, configVersion{Version: c.Version, At: e.At.Time(), By: e.Author, Text: c.Text})
	}
	return a, nil
}
