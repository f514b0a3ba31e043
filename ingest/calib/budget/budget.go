package budget

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Component is one standard uncertainty, in whatever unit all of a budget
// share.
type Component struct {
	Name string
	U    float64
	DF   float64 // degrees of freedom; +Inf where U is known, as for stated limits
}

// Width is a quantity that is somewhere within a width, such as a resolution, or
// a loop of hysteresis whose side is unknown (F.2.2.1, F.2.2.2).
func Width(name string, width float64) Component {
	return Component{name, width / math.Sqrt(12), math.Inf(1)}
}

// Combined returns the combined standard uncertainty and its effective degrees
// of freedom.
func Combined(all ...Component) (u, df float64) {
	sum, fourth := 0.0, 0.0
	for _, c := range all {
		sum += c.U * c.U
		fourth += c.U * c.U * c.U * c.U / c.DF
	}
	return math.Sqrt(sum), sum * sum / fourth
}

// Student returns the factor that makes a 95 % interval of a standard
// uncertainty with df degrees of freedom: 1.96 for +Inf.
func Student(df float64) float64 {
	if math.IsInf(df, 1) || df > 1e6 {
		return distuv.UnitNormal.Quantile(0.975)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
}
