package main

import (
	"weald/config"
	"weald/ingest"
	"weald/ingest/frame"
	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/metrics"
	"weald/stream/view"
	"weald/webui/api"
)

// bridgeView says what the pages and the API show of a bridge. Its messages are
// nil where it has none.
func bridgeView(s *ingest.Status, c *config.Bridge, messages *api.Messages, plan *rules.Plan) api.Bridge {
	b := api.Bridge{
		ID: s.Bridge, Link: s.Link, Format: s.Format, State: string(s.State), Since: view.Moment(s.Since),
		Trouble: s.Trouble, TroubleSince: view.Moment(s.TroubleSince), NextTryAt: view.Moment(s.NextTry),
		Connections: s.Opened, Bytes: s.Bytes, Frames: s.Frames, LastFrameAt: view.Moment(s.LastGood),
		Bad: badFrames(s.Bad), LastBad: s.LastBad, Messages: messages,
		Sources: []api.Source{}, UnknownSources: []api.UnknownSource{},
	}
	if f := s.Capture; f.File != "" {
		b.Capture = &api.Capture{File: f.File, Bytes: f.Bytes, Error: f.Error}
	}
	for i := range s.Sources {
		v := sourceView(&s.Sources[i], plan)
		v.Unit = string(c.Sources[i].Unit)
		b.Sources = append(b.Sources, v)
	}
	b.MoreUnknown = s.MoreUnknown
	for _, u := range s.Unknown {
		b.UnknownSources = append(b.UnknownSources, api.UnknownSource{
			Number: int(u.Number), Frames: u.Frames, FirstAt: u.First.Time(), LastAt: u.Last.Time(),
			Channels: u.Channels, FirstReadings: readings(u.Earliest), Readings: readings(u.Readings),
		})
	}
	return b
}

func sourceView(s *ingest.SourceStatus, plan *rules.Plan) api.Source {
	v := api.Source{
		ID: s.ID, Number: int(s.Number),
		Frames: s.Frames, Scans: s.Scans, Gaps: s.Gaps, Repeats: s.Repeats, Late: s.Late,
		Partial: s.Partial, Damaged: s.Damaged, Stored: s.Stored, Unplaced: s.Unplaced, Saturated: s.Saturated,
		Epochs: s.Epochs, SkewPPM: view.Measured(s.SkewPPM), Rate: view.Measured(s.Rate),
		LastScanAt: view.Moment(s.LastScan), LastSeenAt: view.Moment(s.LastSeen),
		StatusAt: view.Moment(s.HealthAt), Firmware: s.Health.Firmware,
		Calibrated: plan.Sources[s.Index].Calibrated, Trouble: s.Trouble,
	}
	if s.Epochs > 0 {
		v.OffsetS = view.Number(s.Offset.Seconds())
	}
	if s.Nominal > 0 {
		v.Nominal = &s.Nominal
	}
	if s.Channels > 0 {
		v.Sends = &s.Channels
	}
	if s.HealthAt != sample.Past {
		saidOfItself(&v, s.Health)
		v.SetBattery(&s.Condition.Battery)
	}
	if s.Condition.Channels.At != sample.Past {
		v.Health = api.HealthOf(&s.Condition.Channels)
	}
	return v
}

// saidOfItself adds what a source, or its link, has said of it.
func saidOfItself(v *api.Source, h frame.Health) {
	number := func(n int, per float64) *float64 {
		f := float64(n) / per
		return &f
	}
	if h.BatteryPercent >= 0 {
		v.Battery = number(h.BatteryPercent, 1)
	}
	if h.BatteryMV >= 0 {
		v.BatteryV = number(h.BatteryMV, 1e3)
	}
	if h.Celsius != frame.NoCelsius {
		v.Celsius = number(h.Celsius, 1)
	}
	if h.UptimeS > 0 {
		v.UptimeS = number(int(h.UptimeS), 1)
	}
}

// readings are raw ones, nil where there is none.
func readings(values []float64) []*float64 {
	out := make([]*float64, len(values))
	for i, v := range values {
		out[i] = view.Number(v)
	}
	return out
}

func badFrames(bad map[frame.Reason]uint64) map[string]uint64 {
	out := make(map[string]uint64, len(bad))
	for reason, n := range bad {
		out[string(reason)] = n
	}
	return out
}

// bridgeCounts is what Prometheus sees of a bridge.
func bridgeCounts(s *ingest.Status, messages *api.Messages) metrics.Bridge {
	b := metrics.Bridge{ID: s.Bridge, Open: s.State == ingest.Open, Well: s.Trouble == "", Frames: s.Frames, Bad: badFrames(s.Bad)}
	if m := messages; m != nil {
		b.Messages = &metrics.Messages{Offered: m.Offered, Duplicates: m.Duplicates, Dropped: m.Dropped}
	}
	for i := range s.Sources {
		src := &s.Sources[i]
		b.Well = b.Well && src.Trouble == ""
		b.Source = append(b.Source, metrics.Source{ID: src.ID, Scans: src.Scans, Gaps: src.Gaps, Repeats: src.Repeats, Damaged: src.Damaged, Restarts: uint64(src.Restarts),
			States: states(&src.Condition.Channels), Battery: src.Condition.Battery.Percent})
	}
	return b
}
