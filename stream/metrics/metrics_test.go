package metrics

import (
	"context"
	"math"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/hostclock"
	"weald/stream/pipeline"
	"weald/stream/selfwatch"
	"weald/stream/view"
)

type nobody struct{}

func (nobody) Clients() int        { return 3 }
func (nobody) Ended(string) uint64 { return 2 }

func newOptions() (Options, *hostclock.Clock) {
	above := 60.0
	plan := &rules.Plan{
		Sources: []rules.Source{{ID: "trolley/leg", Channels: 2, StaleAfter: time.Minute, Calibrated: true}},
		Places: []rules.Place{{ID: "bench-1", Kind: rules.Wrap, Sites: []rules.Site{
			{ID: "ankle", Channels: []rules.Channel{{Index: 0}}},
			{ID: "calf", Channels: []rules.Channel{{Index: 1}}},
		}}},
		Rules: []rules.Rule{
			{ID: "tight", Priority: alert.Medium, Limit: &rules.Limit{Watch: "ankle.pressure", Above: &above}},
			{ID: "calf-tight", Priority: alert.Low, Limit: &rules.Limit{Watch: "calf.pressure", Above: &above}},
		},
	}
	clock := hostclock.New(1)
	delay, observe := NewDelay()
	p := pipeline.New(pipeline.Options{Plan: plan, Clock: clock, Views: view.New(plan, nil, time.UTC), Delay: observe})
	return Options{
		Plan: plan, Pipeline: p, Delay: delay, Viewers: nobody{}, Ends: []string{"slow"}, Version: "test",
		ClockOff: func() time.Duration { return -1500 * time.Millisecond },
		Record:   func() bool { return false },
		Self: func() []selfwatch.Condition {
			all := selfwatch.NewWatch(selfwatch.Defaults()).Conditions()
			all[selfwatch.Index(selfwatch.Disk)].Raised, all[selfwatch.Index(selfwatch.Memory)].Setting.Off = true, true
			return all
		},
		Senders: func() []Sender {
			return []Sender{{ID: "desk", Well: true, Sent: 7}, {ID: "night", Waiting: 2, Failed: 5, GivenUp: 1}}
		},
		Bridges: func() []Bridge {
			return []Bridge{{ID: "trolley", Open: true, Frames: 7, Bad: map[string]uint64{"checksum": 1, "length": 0},
				Source: []Source{{ID: "trolley/leg", Scans: 6, Gaps: 4, Repeats: 1, Damaged: 0, Restarts: 2,
					States: map[string]int{"sound": 1, "dead": 1, "silent": 0}, Battery: 41}, {ID: "trolley/arm", Battery: -1}},
				Messages: &Messages{Offered: 9, Duplicates: 2, Dropped: map[string]uint64{"retained": 3}}}}
		},
	}, clock
}

// run runs the pipeline until the test ends.
func run(t *testing.T, p *pipeline.Pipeline) {
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	t.Cleanup(func() { stop(); <-ended })
}

func TestScrape(t *testing.T) {
	o, clock := newOptions()
	run(t, o.Pipeline)
	s := &sample.Scan{
		At: clock.Now(), Arrived: clock.Now(), Values: []float64{70.5, math.NaN()}, U: []float64{1, 1}, Shared: []float64{0, 0},
		Extrapolated: []bool{false, false}, Expired: []bool{true, true},
	}
	if err := o.Pipeline.Put(t.Context(), s); err != nil {
		t.Fatal(err)
	}
	for o.Pipeline.Load().Scans == 0 {
		time.Sleep(time.Millisecond)
	}
	calf := alert.Key{Place: "bench-1", Rule: "calf-tight", Subject: "calf"}
	if _, err := o.Pipeline.Act(t.Context(), calf, pipeline.Deed{Verb: alert.Shelve, Who: "K-07", Why: "bath", For: time.Hour}); err != nil {
		t.Fatal(err)
	}
	want := `
# HELP weald_battery_percent Level of a source's battery in percent; no series while it is unknown.
# TYPE weald_battery_percent gauge
weald_battery_percent{source="trolley/leg"} 41
# HELP weald_channels Channels of a source by their state.
# TYPE weald_channels gauge
weald_channels{source="trolley/leg",state="dead"} 1
weald_channels{source="trolley/leg",state="silent"} 0
weald_channels{source="trolley/leg",state="sound"} 1
# HELP weald_alerts Alerts in a state, in the words of ISA-18.2; unacknowledged and acknowledged are always there, others while some alert is in them.
# TYPE weald_alerts gauge
weald_alerts{place="bench-1",priority="low",rule="calf-tight",state="acknowledged"} 0
weald_alerts{place="bench-1",priority="low",rule="calf-tight",state="shelved"} 1
weald_alerts{place="bench-1",priority="low",rule="calf-tight",state="unacknowledged"} 0
weald_alerts{place="bench-1",priority="medium",rule="tight",state="acknowledged"} 0
weald_alerts{place="bench-1",priority="medium",rule="tight",state="unacknowledged"} 1
# HELP weald_clock_off_seconds How far the host's wall clock is ahead of the daemon's clock.
# TYPE weald_clock_off_seconds gauge
weald_clock_off_seconds -1.5
# HELP weald_journal_well Whether readings and history are being kept in the record: 1 or 0; no series without a record.
# TYPE weald_journal_well gauge
weald_journal_well 0
# HELP weald_device_restarts_total How often a device has started again, as its counter and its numbers tell; how long it was off is not known.
# TYPE weald_device_restarts_total counter
weald_device_restarts_total{source="trolley/arm"} 0
weald_device_restarts_total{source="trolley/leg"} 2
# HELP weald_frames_bad_total Frames that were refused, by reason.
# TYPE weald_frames_bad_total counter
weald_frames_bad_total{bridge="trolley",reason="checksum"} 1
weald_frames_bad_total{bridge="trolley",reason="length"} 0
# HELP weald_frames_total Frames that arrived whole and valid.
# TYPE weald_frames_total counter
weald_frames_total{bridge="trolley"} 7
# HELP weald_gap_scans_total Frames that the sequence numbers of a source say were lost; a scan of a mat may take several.
# TYPE weald_gap_scans_total counter
weald_gap_scans_total{source="trolley/arm"} 0
weald_gap_scans_total{source="trolley/leg"} 4
# HELP weald_live_clients Viewers that are connected live.
# TYPE weald_live_clients gauge
weald_live_clients 3
# HELP weald_live_ended_total Live connections that have ended, by reason.
# TYPE weald_live_ended_total counter
weald_live_ended_total{reason="slow"} 2
# HELP weald_message_duplicates_total Of the messages passed on, those marked as sent before.
# TYPE weald_message_duplicates_total counter
weald_message_duplicates_total{bridge="trolley"} 2
# HELP weald_messages_dropped_total Messages over MQTT that were not passed on, by reason.
# TYPE weald_messages_dropped_total counter
weald_messages_dropped_total{bridge="trolley",reason="retained"} 3
# HELP weald_messages_total Messages over MQTT that were passed on to be decoded.
# TYPE weald_messages_total counter
weald_messages_total{bridge="trolley"} 9
# HELP weald_self_raised Whether the daemon has an alert of its own about this: 1 or 0; none of what it does not watch.
# TYPE weald_self_raised gauge
weald_self_raised{what="behind"} 0
weald_self_raised{what="certificate"} 0
weald_self_raised{what="clock_error"} 0
weald_self_raised{what="clock_step"} 0
weald_self_raised{what="disk"} 1
weald_self_raised{what="heartbeat"} 0
weald_self_raised{what="log"} 0
weald_self_raised{what="loop"} 0
weald_self_raised{what="silence"} 0
# HELP weald_notify_failed_attempts_total Attempts that failed and are made again.
# TYPE weald_notify_failed_attempts_total counter
weald_notify_failed_attempts_total{sender="desk"} 0
weald_notify_failed_attempts_total{sender="night"} 5
# HELP weald_notify_given_up_total Messages that were given up.
# TYPE weald_notify_given_up_total counter
weald_notify_given_up_total{sender="desk"} 0
weald_notify_given_up_total{sender="night"} 1
# HELP weald_notify_sent_total Messages that a receiver has taken; nobody need have seen them.
# TYPE weald_notify_sent_total counter
weald_notify_sent_total{sender="desk"} 7
weald_notify_sent_total{sender="night"} 0
# HELP weald_notify_waiting Messages that wait for a sender.
# TYPE weald_notify_waiting gauge
weald_notify_waiting{sender="desk"} 0
weald_notify_waiting{sender="night"} 2
# HELP weald_notify_well Whether a sender of messages gets through, for all that is known: 1 or 0.
# TYPE weald_notify_well gauge
weald_notify_well{sender="desk"} 1
weald_notify_well{sender="night"} 0
# HELP weald_pipeline_responding Whether the pipeline answered the scrape: 1 or 0.
# TYPE weald_pipeline_responding gauge
weald_pipeline_responding 1
# HELP weald_site_doubtful Whether the present pressure of a site is extrapolated, or was made by a calibration that is past its date (expired): 1 or 0; no series while it is unknown.
# TYPE weald_site_doubtful gauge
weald_site_doubtful{place="bench-1",site="ankle",why="expired"} 1
weald_site_doubtful{place="bench-1",site="ankle",why="extrapolated"} 0
# HELP weald_site_known Whether the pressure of a site is known: 1 or 0.
# TYPE weald_site_known gauge
weald_site_known{place="bench-1",site="ankle"} 1
weald_site_known{place="bench-1",site="calf"} 0
# HELP weald_site_pressure_mmhg Present pressure of a site in mmHg; no series while it is unknown.
# TYPE weald_site_pressure_mmhg gauge
weald_site_pressure_mmhg{place="bench-1",site="ankle"} 70.5
`
	r := New(o)
	err := testutil.GatherAndCompare(r, strings.NewReader(want),
		"weald_battery_percent", "weald_channels", "weald_alerts", "weald_clock_off_seconds", "weald_journal_well", "weald_device_restarts_total", "weald_frames_total", "weald_frames_bad_total", "weald_gap_scans_total",
		"weald_live_clients", "weald_live_ended_total", "weald_messages_total", "weald_message_duplicates_total", "weald_messages_dropped_total", "weald_notify_failed_attempts_total", "weald_notify_given_up_total", "weald_notify_sent_total", "weald_notify_waiting", "weald_notify_well", "weald_pipeline_responding", "weald_site_doubtful", "weald_site_known", "weald_site_pressure_mmhg")
	if err != nil {
		t.Error(err)
	}
	if n := testutil.CollectAndCount(o.Delay); n != 1 {
		t.Errorf("%d delay histograms", n)
	}
	rec := httptest.NewRecorder()
	Handler(r).ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
	body := rec.Body.String()
	for _, line := range []string{"weald_rule_delay_seconds_count 1\n", "\ngo_goroutines ", "\nprocess_cpu_seconds_total "} {
		if !strings.Contains(body, line) {
			t.Errorf("the answer lacks %q", line)
		}
	}
}

func TestNamesAndHelpPassTheLinter(t *testing.T) {
	o, _ := newOptions()
	run(t, o.Pipeline)
	problems, err := testutil.GatherAndLint(New(o))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestScrapeDoesNotNeedThePipeline(t *testing.T) {
	o, _ := newOptions()
	ctx, stop := context.WithCancel(t.Context())
	stop()
	o.Pipeline.Run(ctx)
	err := testutil.GatherAndCompare(New(o), strings.NewReader(`
# HELP weald_frames_total Frames that arrived whole and valid.
# TYPE weald_frames_total counter
weald_frames_total{bridge="trolley"} 7
# HELP weald_pipeline_responding Whether the pipeline answered the scrape: 1 or 0.
# TYPE weald_pipeline_responding gauge
weald_pipeline_responding 0
`), "weald_frames_total", "weald_pipeline_responding", "weald_site_known")
	if err != nil {
		t.Error(err)
	}
}
