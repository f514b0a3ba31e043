package metrics

import "github.com/prometheus/client_golang/prometheus"

var all []*prometheus.Desc

func named(name, help string, labels ...string) *prometheus.Desc {
	d := prometheus.NewDesc("weald_"+name, help, labels, nil)
	all = append(all, d)
	return d
}

// The names that dashboards hold on to.
var (
	buildInfo = named("build_info", "Always 1; the label is the version of the program.", "version")

	bridgeOpen = named("bridge_open", "Whether the link of a bridge is open: 1 or 0.", "bridge")
	bridgeWell = named("bridge_well", "Whether nothing is known to be wrong with a bridge: 1 or 0.", "bridge")
	frames     = named("frames_total", "Frames that arrived whole and valid.", "bridge")
	framesBad  = named("frames_bad_total", "Frames that were refused, by reason.", "bridge", "reason")
	messages   = named("messages_total", "Messages over MQTT that were passed on to be decoded.", "bridge")
	duplicates = named("message_duplicates_total", "Of the messages passed on, those marked as sent before.", "bridge")
	dropped    = named("messages_dropped_total", "Messages over MQTT that were not passed on, by reason.", "bridge", "reason")
	scans      = named("scans_total", "Scans that a source delivered.", "source")
	gapScans   = named("gap_scans_total", "Frames that the sequence numbers of a source say were lost; a scan of a mat may take several.", "source")
	repeats    = named("repeated_frames_total", "Frames that came again and were dropped.", "source")
	damaged    = named("damaged_scans_total", "Scans that were kept from the rules because they were damaged at the source.", "source")
	restarts   = named("device_restarts_total", "How often a device has started again, as its counter and its numbers tell; how long it was off is not known.", "source")
	channels   = named("channels", "Channels of a source by their state.", "source", "state")
	battery    = named("battery_percent", "Level of a source's battery in percent; no series while it is unknown.", "source")

	sitePressure = named("site_pressure_mmhg", "Present pressure of a site in mmHg; no series while it is unknown.", "place", "site")
	siteKnown    = named("site_known", "Whether the pressure of a site is known: 1 or 0.", "place", "site")
	siteDoubt    = named("site_doubtful", "Whether the present pressure of a site is extrapolated, or was made by a calibration that is past its date (expired): 1 or 0; no series while it is unknown.", "place", "site", "why")
	regionDoubt  = named("region_doubtful", "The same of the highest pressure of a region of a mat.", "place", "region", "why")
	regionPeak   = named("region_peak_mmhg", "Present highest pressure of a region of a mat in mmHg; no series while it is unknown.", "place", "region")
	regionKnown  = named("region_known", "Whether the highest pressure of a region is known: 1 or 0.", "place", "region")
	alertsNow    = named("alerts", "Alerts in a state, in the words of ISA-18.2; unacknowledged and acknowledged are always there, others while some alert is in them.", "place", "rule", "priority", "state")
	lateScans    = named("late_scans_total", "Scans that were older than what had been evaluated for the place, and were not.", "place")

	certificateEnds = named("tls_certificate_ends_seconds", "When the certificate of the pages ends, in seconds since 1970: (this - time()) / 86400 days are left; no series without TLS.")
	recordWell      = named("journal_well", "Whether readings and history are being kept in the record: 1 or 0; no series without a record.")

	selfRaised = named("self_raised", "Whether the daemon has an alert of its own about this: 1 or 0; none of what it does not watch.", "what")

	senderWell    = named("notify_well", "Whether a sender of messages gets through, for all that is known: 1 or 0.", "sender")
	senderWaiting = named("notify_waiting", "Messages that wait for a sender.", "sender")
	senderSent    = named("notify_sent_total", "Messages that a receiver has taken; nobody need have seen them.", "sender")
	senderFailed  = named("notify_failed_attempts_total", "Attempts that failed and are made again.", "sender")
	senderGivenUp = named("notify_given_up_total", "Messages that were given up.", "sender")

	taken      = named("pipeline_scans_total", "Scans that the pipeline has taken.")
	blocked    = named("pipeline_blocked_total", "How often a bridge had to wait for room in the pipeline's queue.")
	waiting    = named("pipeline_waiting_scans", "Scans that wait in the pipeline's queue.")
	behind     = named("pipeline_behind_seconds", "How old the scan was that the pipeline took last; 0 when none waits.")
	responding = named("pipeline_responding", "Whether the pipeline answered the scrape: 1 or 0.")

	liveClients = named("live_clients", "Viewers that are connected live.")
	liveEnded   = named("live_ended_total", "Live connections that have ended, by reason.", "reason")

	clockOff = named("clock_off_seconds", "How far the host's wall clock is ahead of the daemon's clock.")
)
