package trend

// EWMA is the exponentially weighted moving average of readings on an even
// clock: the next one after was, with the weight lambda of the new reading.
func EWMA(was, lambda, x float64) float64 { return lambda*x + (1-lambda)*was }
