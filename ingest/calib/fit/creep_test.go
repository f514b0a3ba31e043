package fit

import (
	"math"
	"strings"
	"testing"
	"time"
)

// The worked table: c = 0.03 per decade in the form without a singularity.
func TestCreep(t *testing.T) {
	ages := []time.Duration{10 * time.Second, time.Minute, 10 * time.Minute, time.Hour, 24 * time.Hour}
	mmHg := []float64{40 * 1.03124, 40 * 1.05356, 40 * 1.08337, 40 * 1.10669, 40 * 1.14810}
	c, err := Creep(ages, mmHg, 30*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.PerDecade-0.03) > 1e-5 || c.Dwell != 30 || c.U > 1e-5 {
		t.Errorf("creep is %+v, want 0.03 a decade", c)
	}
	if _, err := Creep(ages[:2], mmHg[:2], 0); err == nil || !strings.Contains(err.Error(), "too short") {
		t.Errorf("a hold of a minute: %v", err)
	}
}
