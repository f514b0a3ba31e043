// Package metrics shows the daemon to Prometheus. It reads counters and asks the
// pipeline when it is scraped; it drives nothing.
//
// A pressure that is unknown has no series while it is: the scraper then marks
// it stale by itself, graphs show a gap, and averages over sites leave it out,
// which they would not with a NaN. So that it can be told from a site that does
// not exist there is weald_site_known, which is always there, 1 or 0.
//
// No label is unbounded: bridges, sources, places, sites, regions and rules are
// those of the configuration, reasons and states are closed sets.
package metrics

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"weald/rules"
	"weald/stream/pipeline"
	"weald/stream/selfwatch"
)

// patience is how long a scrape waits for the pipeline.
const patience = 2 * time.Second

// A Bridge is what a link has counted since the daemon started.
type Bridge struct {
	ID     string
	Open   bool // bytes may arrive
	Well   bool // nothing is known to be wrong
	Frames uint64
	Bad    map[string]uint64 // by reason
	Source []Source

	Messages *Messages // nil for links that bring none
}

// Messages is what became of the messages that came to a bridge over MQTT.
type Messages struct {
	Offered, Duplicates uint64
	Dropped             map[string]uint64 // by reason
}

// A Source is what was counted of one source behind a bridge.
type Source struct {
	ID                            string // "bridge/source"
	Scans, Gaps, Repeats, Damaged uint64
	Restarts                      uint64 // of the device

	States  map[string]int // channels by their state, of a closed set
	Battery int            // percent; -1 unknown
}

// A Sender is what became of messages since the daemon started.
type Sender struct {
	ID                    string
	Well                  bool // it gets through, for all that is known
	Waiting               int
	Sent, Failed, GivenUp uint64 // Failed counts attempts
}

// Viewers is what live connections tell.
type Viewers interface {
	Clients() int
	Ended(why string) uint64
}

// Options are what New needs. The delay histogram must exist before the
// pipeline does, so it has a constructor of its own.
type Options struct {
	Plan     *rules.Plan
	Pipeline *pipeline.Pipeline
	Delay    prometheus.Histogram
	Bridges  func() []Bridge
	Viewers  Viewers
	Ends     []string                     // the reasons for Viewers.Ended
	ClockOff func() time.Duration         // nil for no such metric
	Senders  func() []Sender              // nil where there are none
	Self     func() []selfwatch.Condition // how the daemon itself is; nil where nobody looks
	Record   func() bool                  // whether all of the record is kept; nil without one

	CertificateEnds func() time.Time // when that of the pages does; nil without TLS

	Version string
}

// NewDelay returns the histogram of how late alerts are raised and cleared,
// and the function that takes one such delay.
func NewDelay() (prometheus.Histogram, func(time.Duration)) {
	h := prometheus.NewHistogram(prometheus.HistogramOpts{
		Name:    "weald_rule_delay_seconds",
		Help:    "How long after it could have been known an alert was raised or cleared, on the daemon's clock.",
		Buckets: []float64{.005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
	})
	return h, func(d time.Duration) { h.Observe(d.Seconds()) }
}

// New returns a registry of its own with everything in it.
func New(o Options) *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		o.Delay,
		&collector{o},
	)
	return r
}

// Handler serves a registry.
func Handler(r *prometheus.Registry) http.Handler {
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{
		MaxRequestsInFlight: 4,
		Timeout:             10 * time.Second,
	})
}

type collector struct{ Options }

// Describe implements prometheus.Collector.
func (c *collector) Describe(out chan<- *prometheus.Desc) {
	for _, d := range all {
		out <- d
	}
}

// Collect implements prometheus.Collector.
func (c *collector) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	count := func(d *prometheus.Desc, v uint64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v), labels...)
	}
	gauge(buildInfo, 1, c.Version)
	for _, b := range c.Bridges() {
		gauge(bridgeOpen, one(b.Open), b.ID)
		gauge(bridgeWell, one(b.Well), b.ID)
		count(frames, b.Frames, b.ID)
		for reason, n := range b.Bad {
			count(framesBad, n, b.ID, reason)
		}
		if m := b.Messages; m != nil {
			count(messages, m.Offered, b.ID)
			count(duplicates, m.Duplicates, b.ID)
			for reason, n := range m.Dropped {
				count(dropped, n, b.ID, reason)
			}
		}
		for _, s := range b.Source {
			count(scans, s.Scans, s.ID)
			count(gapScans, s.Gaps, s.ID)
			count(repeats, s.Repeats, s.ID)
			count(damaged, s.Damaged, s.ID)
			count(restarts, s.Restarts, s.ID)
			for state, n := range s.States {
				gauge(channels, float64(n), s.ID, state)
			}
			if s.Battery >= 0 {
				gauge(battery, float64(s.Battery), s.ID)
			}
		}
	}
	if c.Self != nil {
		for _, s := range c.Self() {
			if !s.Setting.Off {
				gauge(selfRaised, one(s.Raised), s.Kind.ID)
			}
		}
	}
	if c.Senders != nil {
		for _, s := range c.Senders() {
			gauge(senderWell, one(s.Well), s.ID)
			gauge(senderWaiting, float64(s.Waiting), s.ID)
			count(senderSent, s.Sent, s.ID)
			count(senderFailed, s.Failed, s.ID)
			count(senderGivenUp, s.GivenUp, s.ID)
		}
	}
	gauge(liveClients, float64(c.Viewers.Clients()))
	for _, why := range c.Ends {
		count(liveEnded, c.Viewers.Ended(why), why)
	}
	if c.ClockOff != nil {
		gauge(clockOff, c.ClockOff().Seconds())
	}
	if c.Record != nil {
		gauge(recordWell, one(c.Record()))
	}
	if c.CertificateEnds != nil {
		gauge(certificateEnds, float64(c.CertificateEnds().Unix()))
	}
	load := c.Pipeline.Load()
	count(taken, load.Scans)
	count(blocked, load.Blocked)
	gauge(waiting, float64(load.Waiting))
	gauge(behind, load.Behind.Seconds())

	found := c.ask()
	gauge(responding, one(found != nil))
	for _, f := range found {
		out <- prometheus.MustNewConstMetric(f.desc, f.kind, f.value, f.labels...)
	}
}

// A fact is one value that the pipeline was asked for.
type fact struct {
	desc   *prometheus.Desc
	kind   prometheus.ValueType
	value  float64
	labels []string
}

// ask collects what only the pipeline knows; nil if it does not answer.
func (c *collector) ask() []fact {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	found := make([]fact, 0, 16*len(c.Plan.Places))
	var alerts counts
	if c.Pipeline.Do(ctx, func(s *pipeline.State) { alerts = count(s.Alerts()) }) != nil {
		return nil
	}
	for i := range c.Plan.Places {
		// One place at a time: an alert does not wait until a ward has been counted.
		if c.Pipeline.Do(ctx, func(s *pipeline.State) { found = c.place(found, s, i, alerts) }) != nil {
			return nil
		}
	}
	return found
}

func doubtful(found []fact, of *prometheus.Desc, s *rules.Signal, place, subject string) []fact {
	return append(found, fact{of, prometheus.GaugeValue, one(s.Extrapolated), []string{place, subject, "extrapolated"}},
		fact{of, prometheus.GaugeValue, one(s.Expired), []string{place, subject, "expired"}})
}

func (c *collector) place(found []fact, s *pipeline.State, i int, alerts counts) []fact {
	place := &c.Plan.Places[i]
	signals := s.Signals(i)
	for k := range signals {
		sig := &signals[k]
		subject, quantity, _ := strings.Cut(sig.Name, ".")
		known := s.Current(i, sig)
		switch quantity {
		case "pressure":
			found = append(found, fact{siteKnown, prometheus.GaugeValue, one(known), []string{place.ID, subject}})
			if known {
				found = append(found, fact{sitePressure, prometheus.GaugeValue, sig.Value, []string{place.ID, subject}})
				found = doubtful(found, siteDoubt, sig, place.ID, subject)
			}
		case "peak":
			found = append(found, fact{regionKnown, prometheus.GaugeValue, one(known), []string{place.ID, subject}})
			if known {
				found = append(found, fact{regionPeak, prometheus.GaugeValue, sig.Value, []string{place.ID, subject}})
				found = doubtful(found, regionDoubt, sig, place.ID, subject)
			}
		}
	}
	found = append(found, fact{lateScans, prometheus.CounterValue, float64(s.Late(i)), []string{place.ID}})
	return alerts.of(found, place.ID, s.Holds(i))
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
