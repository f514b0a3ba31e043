package record

import (
	"encoding/json"

	"weald/ingest/sample"
	"weald/rules/attempt"
	"weald/rules/compression"
)

// An Attempt is one step in the life of a try at putting on a wrap. What came of it is
// not kept: it follows from the plan and from what was read.
type Attempt struct {
	ID     string
	What   string           // "begun", "read", "ended", "left"
	Code   string           // stands for who puts it on, and is not a name
	Lesson string           // stands for the class that learns together; "" for none
	Config uint64           // version of the configuration in force
	Plan   *attempt.Plan    // begun
	Read   *attempt.Reading // read
	Notes  string
}

// Kind implements Body.
func (Attempt) Kind() Kind { return KindAttempt }
func (Attempt) sealed()    {}

// texts are all that is text in it.
func (a *Attempt) texts() []string {
	all := []string{a.ID, a.What, a.Code, a.Lesson, a.Notes}
	if a.Plan != nil {
		all = append(all, a.Plan.Scheme, a.Plan.Class)
		for i := range a.Plan.Sites {
			all = append(all, a.Plan.Sites[i].ID)
		}
	}
	if a.Read != nil {
		all = append(all, string(a.Read.Step))
	}
	return all
}

type attemptJSON struct {
	ID     string       `json:"id"`
	What   string       `json:"what"`
	Code   string       `json:"code,omitempty"`
	Lesson string       `json:"lesson,omitempty"`
	Config uint64       `json:"config,omitempty"`
	Plan   *planJSON    `json:"plan,omitempty"`
	Read   *readingJSON `json:"read,omitempty"`
	Notes  string       `json:"notes,omitempty"`
}

type planJSON struct {
	Scheme string     `json:"scheme,omitempty"`
	Class  string     `json:"class,omitempty"`
	Sites  []siteJSON `json:"sites"`

	Newtons number `json:"newtons"`
	Layers  number `json:"layers"`
	WidthCM number `json:"width_cm"`
	Least   number `json:"least"`
	Most    number `json:"most"`
}

type siteJSON struct {
	ID       string `json:"id"`
	HeightCM number `json:"height_cm"`
	GirthCM  number `json:"girth_cm"`
	Low      number `json:"low"`
	High     number `json:"high"`
}

type readingJSON struct {
	Step   attempt.Step   `json:"step"`
	At     sample.Instant `json:"at"`
	Values []valueJSON    `json:"values"`
}

type valueJSON struct {
	MMHg   number `json:"mmhg"`
	U      number `json:"u"`
	Shared number `json:"shared"`
}

func marshalAttempt(a *Attempt) ([]byte, error) {
	j := attemptJSON{ID: a.ID, What: a.What, Code: a.Code, Lesson: a.Lesson, Config: a.Config, Notes: a.Notes}
	if p := a.Plan; p != nil {
		j.Plan = &planJSON{Scheme: p.Scheme, Class: p.Class, Least: number(p.Least), Most: number(p.Most),
			Newtons: number(p.Wrapping.Newtons), Layers: number(p.Wrapping.Layers), WidthCM: number(p.Wrapping.WidthCM)}
		for _, s := range p.Sites {
			j.Plan.Sites = append(j.Plan.Sites, siteJSON{s.ID, number(s.HeightCM), number(s.GirthCM), number(s.Aim.Low), number(s.Aim.High)})
		}
	}
	if r := a.Read; r != nil {
		j.Read = &readingJSON{Step: r.Step, At: r.At}
		for _, v := range r.Values {
			j.Read.Values = append(j.Read.Values, valueJSON{number(v.MMHg), number(v.U), number(v.Shared)})
		}
	}
	return json.Marshal(j)
}

func unmarshalAttempt(raw []byte) (Attempt, error) {
	var j attemptJSON
	if err := json.Unmarshal(raw, &j); err != nil {
		return Attempt{}, err
	}
	a := Attempt{ID: j.ID, What: j.What, Code: j.Code, Lesson: j.Lesson, Config: j.Config, Notes: j.Notes}
	if p := j.Plan; p != nil {
		a.Plan = &attempt.Plan{Scheme: p.Scheme, Class: p.Class, Least: float64(p.Least), Most: float64(p.Most),
			Wrapping: compression.Wrapping{Newtons: float64(p.Newtons), Layers: float64(p.Layers), WidthCM: float64(p.WidthCM)}}
		for _, s := range p.Sites {
			a.Plan.Sites = append(a.Plan.Sites, attempt.Site{ID: s.ID, HeightCM: float64(s.HeightCM), GirthCM: float64(s.GirthCM),
				Aim: attempt.Band{Low: float64(s.Low), High: float64(s.High)}})
		}
	}
	if r := j.Read; r != nil {
		a.Read = &attempt.Reading{Step: r.Step, At: r.At}
		for _, v := range r.Values {
			a.Read.Values = append(a.Read.Values, attempt.Value{MMHg: float64(v.MMHg), U: float64(v.U), Shared: float64(v.Shared)})
		}
	}
	return a, nil
}
