package config

import (
	"math"
	"slices"
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
	"weald/rules/posture"
)

// An Edge is one of the four edges of a mat, seen from above with row 0 at the
// top and column 0 at the left.
type Edge string

// The edges.
const (
	FirstRow    Edge = "first_row"
	LastRow     Edge = "last_row"
	FirstColumn Edge = "first_column"
	LastColumn  Edge = "last_column"
)

// atHead is the edge as positions are recognised by.
func (e Edge) atHead() posture.Edge {
	switch e {
	case LastRow:
		return posture.LastRow
	case FirstColumn:
		return posture.FirstColumn
	case LastColumn:
		return posture.LastColumn
	}
	return posture.FirstRow
}

// A Mat is a grid of cells, the channels of one source row by row.
type Mat struct {
	Source        int         // index of the source
	Rows, Columns int         // >= 1
	PitchMM       *[2]float64 // from row to row and from column to column; nil if not known
	Head          Edge        // at the person's head, on a seat at the back
	FromBelow     bool        // the map shows it as from below
	Regions       []Region    // at least the template's for a bed or a seat

	LoadedAbove  float64       // mmHg
	LoadedResets time.Duration // how long a cell must be unloaded to start again
}

// A Region is a rectangle of cells, both ends included.
type Region struct {
	ID            string
	Rows, Columns [2]int
}

// mat returns nil where it is too damaged to be judged.
func (r *reader) mat(m shape.Mat, kind rules.PlaceKind, path tree.Path) *Mat {
	source, found := r.resolve(m.Source, path.With("source"))
	whole := found && !r.doc.Faulty(path.With("rows")) && !r.doc.Faulty(path.With("columns"))
	if whole {
		switch s := &r.plan.Sources[source]; {
		case s.Channels == 0:
			whole = false
		case m.Rows*m.Columns != s.Channels:
			r.doc.Report(path.With("rows"), "%d rows of %d columns are %d cells, but %s has %d channels: one of the three is wrong",
				m.Rows, m.Columns, m.Rows*m.Columns, m.Source, s.Channels)
			whole = false
		}
	}
	if p := m.PitchMM; p != nil && !r.doc.Faulty(path.With("pitch_mm")) {
		for k, mm := range p {
			if mm <= 0 || mm > 1000 {
				r.doc.Report(path.With("pitch_mm", k), "pitch_mm is %g: give the distance between cells in mm, above 0 and at most 1000", mm)
			}
		}
	}
	out := &Mat{
		Source: source, Rows: m.Rows, Columns: m.Columns, PitchMM: m.PitchMM, Head: Edge(m.Head), FromBelow: m.SeenFrom == "below",
		LoadedAbove: m.LoadedAbove, LoadedResets: time.Duration(m.LoadedResets),
	}
	if r.doc.Has(path.With("regions")) {
		out.Regions = r.regions(m, path)
	} else if whole {
		out.Regions = template(kind, out)
	}
	if !whole {
		return nil
	}
	return out
}

// regions checks the regions of the file against the mat.
func (r *reader) regions(m shape.Mat, mat tree.Path) []Region {
	var out []Region
	seen := map[string]tree.Path{}
	for i, region := range m.Regions {
		path := mat.With("regions", i)
		r.unique(seen, string(region.ID), "region of a mat", path.With("id"))
		if region.ID == rules.WholeMat {
			r.doc.Report(path.With("id"), "id %q stands for all cells of a mat: give the region another name", region.ID)
		}
		rows := r.span(region.Rows, m.Rows, path.With("rows"), mat.With("rows"))
		columns := r.span(region.Columns, m.Columns, path.With("columns"), mat.With("columns"))
		if rows && columns {
			out = append(out, Region{ID: string(region.ID), Rows: region.Rows, Columns: region.Columns})
		}
	}
	return out
}

// span checks that first and last lie on a mat of n rows or columns.
func (r *reader) span(span [2]int, n int, path, size tree.Path) bool {
	what := path.Name()
	switch {
	case r.doc.Faulty(path), r.doc.Faulty(size):
		return false
	case span[0] < 0:
		r.doc.Report(path.With(0), "%s begin at %d: the first of the mat is 0", what, span[0])
	case span[0] > span[1]:
		r.doc.Report(path, "%s are [%d, %d]: give the first and then the last", what, span[0], span[1])
	case span[1] >= n:
		r.doc.Report(path.With(1), "%s end at %d, which is not on the mat: its last is %d", what, span[1], n-1)
	default:
		return true
	}
	return false
}

// names reports sites that are called like a region, for a signal's name must
// tell which is meant.
func (r *reader) names(p Place, path tree.Path) {
	if p.Mat == nil {
		return
	}
	for i, s := range p.Sites {
		r.shared(s.ID, p.Mat.Regions, path.With("sites", i, "id"))
	}
}

// shared reports an id at path, that of a site, which a region has as well.
func (r *reader) shared(site string, regions []Region, path tree.Path) {
	if slices.ContainsFunc(regions, func(region Region) bool { return region.ID == site }) {
		r.doc.Report(path, "id %q is the name of a site and of a region of the mat: give one of them another name", site)
	}
}

// plan returns the mat as the rules see it.
func (m *Mat) plan() *rules.Mat {
	out := &rules.Mat{
		Source: m.Source, Rows: m.Rows, Columns: m.Columns,
		PitchMM:     [2]float64{math.NaN(), math.NaN()}, // areas are unknown then, not 0
		LoadedAbove: m.LoadedAbove, LoadedResets: m.LoadedResets,
		Head: m.Head.atHead(), FromBelow: m.FromBelow,
	}
	if m.PitchMM != nil {
		out.PitchMM = *m.PitchMM
	}
	for _, region := range m.Regions {
		out.Regions = append(out.Regions, rules.Region{ID: region.ID, Cells: m.Cells(region)})
	}
	return out
}

// Cells returns the cells of a region, row by row, ascending.
func (m *Mat) Cells(region Region) []int {
	var cells []int
	for row := region.Rows[0]; row <= region.Rows[1]; row++ {
		for column := region.Columns[0]; column <= region.Columns[1]; column++ {
			cells = append(cells, row*m.Columns+column)
		}
	}
	return cells
}
