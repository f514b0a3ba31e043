package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/rules/attempt"
)

// attemptColumns are those of the table. Whatever is in them was given by the
// configuration or is a code: what people wrote in their own words is not among it.
const attemptColumns = "attempt,begun_at,ended_at,state,place,lesson,code,author,scheme,class,class_reached,pull_n,layers,width_cm," +
	"site,height_cm,girth_cm,target_low_mmhg,target_high_mmhg,bare_mmhg,applied_mmhg,lying_mmhg,lying_u_mmhg,verdict,sure," +
	"share_of_lowest,graduation,standing_mmhg,stiffness_mmhg,stiffness_u_mmhg,walking_amplitude_mmhg," +
	"laplace_mmhg,laplace_least_mmhg,pull_by_laplace_n,evenness"

func (s *server) attemptsTable(ctx context.Context, in *attemptsInput) (*huma.StreamResponse, error) {
	all, err := s.tries(ctx, in)
	if err != nil {
		return nil, err
	}
	var table bytes.Buffer
	w := csv.NewWriter(&table)
	w.UseCRLF = true
	// A buffer takes everything.
	_ = w.Write(strings.Split(attemptColumns, ","))
	for _, t := range all {
		v := t.view()
		for i := range v.Plan.Sites {
			_ = w.Write(v.row(i))
		}
	}
	w.Flush()
	return &huma.StreamResponse{Body: func(ctx huma.Context) {
		ctx.SetHeader("Content-Type", "text/csv")
		ctx.SetHeader("Content-Disposition", `attachment; filename="attempts.csv"`)
		// An error means that the client is gone.
		_, _ = ctx.BodyWriter().Write(table.Bytes())
	}}, nil
}

// row is what a try came to at one site.
func (v *attemptView) row(i int) []string {
	number := func(f *float64) string {
		if f == nil {
			return ""
		}
		return strconv.FormatFloat(*f, 'f', -1, 64)
	}
	ended := ""
	if v.EndedAt != nil {
		ended = v.EndedAt.Format(time.RFC3339Nano)
	}
	at := func(step attempt.Step) string {
		for _, r := range v.Readings {
			if r.Step == step {
				return number(r.Values[i].Value)
			}
		}
		return ""
	}
	p, f := &v.Plan.Sites[i], &v.Result.Sites[i]
	graduation := ""
	if f.Graded {
		graduation = "kept"
		if f.Fault != "" {
			graduation = string(f.Fault)
		}
	}
	return []string{
		v.ID, v.BegunAt.Format(time.RFC3339Nano), ended, v.State, v.Place, v.Lesson, v.Code, v.Author,
		v.Plan.Scheme, v.Plan.Class, v.Result.Class, number(v.Plan.Newtons), number(v.Plan.Layers), number(v.Plan.WidthCM),
		p.ID, number(p.HeightCM), number(p.GirthCM), number(p.Low), number(p.High),
		at(attempt.Bare), at(attempt.Applied), number(f.Lying.Value), number(f.Lying.U), string(f.Verdict), strconv.FormatBool(f.Sure),
		number(f.Residual), graduation, at(attempt.Standing), number(f.Stiffness.Value), number(f.Stiffness.U), number(f.Swing.Value),
		number(f.Laplace), number(f.Least), number(f.PullN), number(v.Result.Evenness),
	}
}
