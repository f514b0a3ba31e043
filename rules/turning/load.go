package turning

// background returns what the lighter part of a mat's cells have: the mean of
// those that are not above the mean of all. It is what bedding and a zero that
// has drifted make everywhere, because a person covers less than half of a bed.
func background(values []float64) (level float64, known int) {
	sum := 0.0
	for _, v := range values {
		if v == v {
			sum += v
			known++
		}
	}
	mean, n := sum/float64(max(known, 1)), 0
	sum = 0
	for _, v := range values {
		if v <= mean {
			sum += v
			n++
		}
	}
	return sum / float64(max(n, 1)), known
}

// stands returns the pressure that stands out from the background, summed over
// the cells that have more than twice as much.
func stands(values []float64, level float64) (sum float64) {
	low := max(2*level, 0)
	for _, v := range values {
		if v > low {
			sum += v - level
		}
	}
	return sum
}
