package main

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/selfwatch"
)

// What a daemon has, it watches, and its numbers are those of a daemon that has just
// been made; what it has not, and clocks of a time that is not the host's, it does not.
func TestWhatADaemonWatchesOfItself(t *testing.T) {
	secret := write(t, "a.secret", "x\n")
	const none = "web: {listen: \"127.0.0.1:0\"}\nbridges: []\n"
	all := fmt.Sprintf(`data: %q
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: a, link: {serial: {port: /dev/ttyACM77}}, format: line, sources: [{number: 0, id: s, channels: 1, rate: 1}]}
heartbeat: {every: 5s, webhook: {url: "http://127.0.0.1:9/", secret_file: %q}}
`, filepath.Join(t.TempDir(), "record"), secret)
	for _, c := range []struct {
		text  string
		speed float64
		want  []string
	}{
		{none, 1, []string{selfwatch.Behind, selfwatch.ClockError, selfwatch.ClockStep, selfwatch.Loop, selfwatch.Memory}},
		{none, 20, []string{selfwatch.Behind, selfwatch.Loop, selfwatch.Memory}},
		{all, 1, []string{selfwatch.Behind, selfwatch.ClockError, selfwatch.ClockStep, selfwatch.Disk, selfwatch.Heartbeat, selfwatch.Loop, selfwatch.Memory, selfwatch.Silence}},
	} {
		d, err := newDaemonAfter(t.Context(), parsed(t, c.text), c.speed, sample.Past, t.Output())
		if err != nil {
			t.Fatal(err)
		}
		probes := d.now().probes()
		if got := slices.Sorted(maps.Keys(probes)); !slices.Equal(got, c.want) {
			t.Errorf("%q are watched, want %q", got, c.want)
		}
		for id, probe := range probes {
			k := selfwatch.Kinds[selfwatch.Index(id)]
			switch v := probe(); id {
			case selfwatch.Memory, selfwatch.Disk: // of whatever this machine has
				if !(v > 0) {
					t.Errorf("%s: %v %s", id, v, k.Unit)
				}
			case selfwatch.ClockError:
				if v < 0 {
					t.Errorf("%s: %v %s", id, v, k.Unit)
				}
			case selfwatch.Silence: // no bridge has begun: nothing is to come
				if !math.IsNaN(v) {
					t.Errorf("%s: %v %s", id, v, k.Unit)
				}
			default:
				if !(v >= -1 && v < k.Default.Limit) {
					t.Errorf("%s: %v %s of a daemon that has just been made", id, v, k.Unit)
				}
			}
		}
		if s := d.now().host(time.Minute); s != 60/c.speed {
			t.Errorf("a minute at %v times is %v s", c.speed, s)
		}
		if err := d.closeRecord(); err != nil {
			t.Error(err)
		}
	}
}
