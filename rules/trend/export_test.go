package trend

// TheilSen is the slope of a window whose every slot has one of the points.
func TheilSen(xs, ys []float64) float64 { return Median(theilSen(nil, xs, ys)) }
