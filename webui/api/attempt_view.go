package api

import (
	"time"

	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/rules/limb"
	"weald/stream/view"
)

type attemptsBody struct {
	Attempts     []attemptView `json:"attempts" nullable:"false" doc:"The one that began first comes first"`
	OverEstimate string        `json:"over_estimate" doc:"How far the prediction by Laplace's law can be believed"`
}

type attemptView struct {
	ID       string        `json:"id"`
	Place    string        `json:"place"`
	Code     string        `json:"code" doc:"Stands for who put the wrap on; never a name"`
	Lesson   string        `json:"lesson" doc:"Stands for the class; empty for none"`
	Author   string        `json:"author" doc:"Who led it"`
	Config   uint64        `json:"config" doc:"The version of the configuration that was in force when it began"`
	BegunAt  time.Time     `json:"begun_at"`
	EndedAt  *time.Time    `json:"ended_at" doc:"null while it goes on"`
	State    string        `json:"state" enum:"running,ended,left"`
	Plan     attemptPlan   `json:"plan"`
	Readings []attemptRead `json:"readings" nullable:"false" doc:"In the order of the steps"`
	Next     attempt.Step  `json:"next" enum:",bare,applied,lying,standing,walking" doc:"The step that is to be read next; empty after the last"`
	Result   attemptResult `json:"result"`
	Notes    []sessionNote `json:"notes" nullable:"false"`
}

type attemptPlan struct {
	Scheme  string        `json:"scheme" doc:"Of /api/v1/compression; empty where the bands are somebody's own"`
	Class   string        `json:"class"`
	Named   string        `json:"named" doc:"The standard and the class in words; empty as they are"`
	Newtons *float64      `json:"newtons" doc:"null where not known, as are the others"`
	Layers  *float64      `json:"layers"`
	WidthCM *float64      `json:"width_cm"`
	Least   *float64      `json:"least" doc:"Share of the lowest site's pressure that is asked above it, to the knee; null asks nothing"`
	Most    *float64      `json:"most"`
	Sites   []attemptSite `json:"sites" nullable:"false" doc:"The lowest first"`
}

type attemptSite struct {
	ID       string   `json:"id"`
	HeightCM *float64 `json:"height_cm"`
	GirthCM  *float64 `json:"girth_cm"`
	Low      *float64 `json:"low" doc:"mmHg; null where the band is open, on both sides where nothing is aimed for"`
	High     *float64 `json:"high"`
}

type attemptValue struct {
	Value *float64 `json:"value" doc:"mmHg"`
	U     *float64 `json:"u" doc:"Its standard uncertainty"`
}

type attemptRead struct {
	Step   attempt.Step   `json:"step" enum:"bare,applied,lying,standing,walking"`
	At     time.Time      `json:"at"`
	Values []attemptValue `json:"values" nullable:"false" doc:"By site: the pressure, the resting level, or walking the amplitude"`
}

type attemptResult struct {
	Named    string         `json:"named" doc:"The class in words"`
	Class    string         `json:"class" doc:"That the lowest site's pressure belongs to, in the scheme aimed for; empty between classes"`
	Evenness *float64       `json:"evenness" doc:"The least share that was pulled at any site, 0 to 1; null where fewer than two are known"`
	Sites    []attemptFound `json:"sites" nullable:"false" doc:"As those of the plan"`
}

type attemptFound struct {
	ID        string          `json:"id"`
	Lying     attemptValue    `json:"lying" doc:"Resting level"`
	Verdict   attempt.Verdict `json:"verdict" enum:"unknown,free,under,inside,over" doc:"free: nothing was aimed for"`
	Sure      bool            `json:"sure" doc:"It is further from the edges of its band than its standard uncertainty"`
	Residual  *float64        `json:"residual" doc:"Share of the lowest site's pressure"`
	Graded    bool            `json:"graded" doc:"Graduation could be judged"`
	Fault     limb.Fault      `json:"fault" enum:",lost,reversed,too steep" doc:"Of graduation; empty for none"`
	Laplace   *float64        `json:"laplace" doc:"mmHg that pull, layers, width and girth predict: more than is there"`
	Least     *float64        `json:"laplace_least" doc:"mmHg that are still in keeping with that, as sensors have read"`
	PullN     *float64        `json:"pull_n" doc:"N that the pressure would have taken by the same law"`
	Pulled    *float64        `json:"pulled" doc:"Share of the greatest pull of all sites, as pressure times girth tells it"`
	Stiffness attemptValue    `json:"stiffness" doc:"Standing less lying"`
	Swing     attemptValue    `json:"swing" doc:"Amplitude walking"`
	Pressed   bool            `json:"pressed" doc:"It showed more than 5 mmHg bare"`
}

// positive is null for what is not known as it is 0.
func positive(v float64) *float64 {
	if !(v > 0) {
		return nil
	}
	return view.Measured(v)
}

func valueOf(v attempt.Value) attemptValue {
	return attemptValue{view.Measured(v.MMHg), view.Measured(v.U)}
}

// view is the try as people and programs see it.
func (t *try) view() attemptView {
	v, p := t.attemptView, &t.plan
	v.Plan = attemptPlan{Scheme: p.Scheme, Class: p.Class, Newtons: positive(p.Wrapping.Newtons), Layers: positive(p.Wrapping.Layers),
		WidthCM: positive(p.Wrapping.WidthCM), Least: positive(p.Least), Most: positive(p.Most), Sites: make([]attemptSite, len(p.Sites))}
	for i, s := range p.Sites {
		v.Plan.Sites[i] = attemptSite{s.ID, positive(s.HeightCM), positive(s.GirthCM), positive(s.Aim.Low), view.Measured(s.Aim.High)}
	}
	scheme := compression.Named(p.Scheme)
	if scheme != nil {
		if c := scheme.Class(p.Class); c != nil {
			v.Plan.Named = scheme.Name + ", " + c.Name
		}
	}
	v.Readings = make([]attemptRead, len(t.readings))
	v.Next = attempt.Steps()[0]
	for i, r := range t.readings {
		v.Readings[i] = attemptRead{Step: r.Step, At: r.At.Time(), Values: make([]attemptValue, len(r.Values))}
		for k, value := range r.Values {
			v.Readings[i].Values[k] = valueOf(value)
		}
		v.Next = r.Step.Next()
	}
	got := attempt.Judge(p, t.readings)
	v.Result = attemptResult{Class: got.Class, Evenness: view.Measured(got.Evenness), Sites: make([]attemptFound, len(got.Sites))}
	if scheme != nil && got.Class != "" {
		v.Result.Named = scheme.Class(got.Class).Name
	}
	for i, f := range got.Sites {
		v.Result.Sites[i] = attemptFound{
			ID: p.Sites[i].ID, Lying: valueOf(f.Lying), Verdict: f.Verdict, Sure: f.Sure,
			Residual: view.Measured(f.Residual), Graded: f.Graded, Fault: f.Fault,
			Laplace: view.Measured(f.Laplace), Least: view.Measured(f.Laplace * compression.LeastShare), PullN: view.Measured(f.Pull), Pulled: view.Measured(f.Pulled),
			Stiffness: valueOf(f.Stiffness), Swing: valueOf(f.Swing), Pressed: f.Pressed,
		}
	}
	return v
}
