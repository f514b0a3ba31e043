// Package rules judges readings by threshold and duration.
//
// A Plan says what there is: sources, places with their sites and mats, and
// rules. An Engine made of it is given scans and ticks, and tells a Sink what
// it found: signals that were updated, alerts that were raised or cleared.
// Everything happens in event time and nothing reads a clock, so that a
// recording that is played again gives the same alerts, to the byte.
//
// # From channels to signals
//
// A site's pressure is the mean of its channels. A mat has, for itself and for
// each region, the peak and mean pressure, the area in contact and the load. A
// value lasts until the next one, but no longer than its source's StaleAfter;
// then, and wherever a reading is missing, the signal is unknown, which is not
// zero, not the last value and not "fine". A site or region is known while at
// least half of its members are.
//
// What is known of a value's uncertainty has two parts: one of its own, which
// averaging reduces, and one that it shares with all that were calibrated with the
// same reference, which it does not (siteState.mean). A site of three or more
// drops a member that disagrees with the others for long (siteState.disagree), at
// the exact instant, which may fall between readings.
//
// Of these more signals are made: of a limb, what it does (still, walking,
// bending, standing, wrapped) and what its wrap does (package limb); of a mat,
// what package matstat measures beyond the tally; of a bed and a seat, whether it
// is occupied; of a bed, how somebody lies there and when they turned (package
// turning); of a seat, how it was relieved (package relief). A signal that is
// yes or no has the unit Truths, and expressions take it as a condition.
//
// # How often signals are made
//
// Every signal is made anew of every scan of its place, and when a source falls
// silent, whether or not anybody looks: what is live, what is kept and what is
// rehearsed are the same. There are two exceptions. How somebody lies is looked at
// every 2 s at most, in the scan that comes then, as package turning says; the
// time since a turn is of every scan. And a plan that is Lean, as that of a
// rehearsal is, leaves out for how long each cell has been loaded, and, unless a
// rule of the place speaks of one of these signals, how somebody lies, what a mat
// has beyond peaks, means, areas and loads, and what a limb does under its wrap: no
// alert depends on them then.
//
// # From signals to alerts
//
// A limit that watches a signal is one hold (package hold). A limit that
// watches the pressure of a mat or region is one hold for every cell, so that a
// spot that has been loaded for too long is found although the load elsewhere
// comes and goes; the alert is the region's. It is raised with the first of its
// cells and cleared with the last.
//
// The other kinds of rule (kinds.go) each have a judge, which makes a condition
// of signals, and one hold. What they are where the configuration is silent, and
// where that is from, Defaults says. An exposure has one dose for each cell and
// one hold for each region: its condition is yes while any dose has reached the
// share, no while at least half of the cells are known and none has, and unknown
// otherwise.
//
// A quality watches the channels of a site, each by itself, and the cells of a mat,
// of which so many must have a fault: what is silent, uncalibrated, at its rail,
// without a value, open, stuck, in disagreement, past the date of its calibration or
// extrapolated, and sources that lose frames, of which the clock is off or the battery
// is low. It goes by the scans that were judged and nothing else, so that the record
// gives the same again: each carries the level of the battery that was known when it
// came. A level lasts until another one is told. What is unknown elsewhere is what it
// asks for, so its condition is never unknown, and it needs nobody to be there.
//
// # From alerts to what people are told
//
// What a hold finds goes through the life of its alert (package alert), with what
// people do about it (Act, an input like any other) and what is due by time: the
// end of a shelf, an escalation. Rules that need a body put their alerts aside
// while there is none (place.suppress).
//
// # Choices where the specification is silent
//
// A condition may be unknown although readings come: a limb that stands has no
// walking amplitude. Then the hold pauses as for any unknown condition, but
// nobody is told that a signal was lost (Progress.Waits says why). What a closed
// gate keeps a rule from judging, it keeps an exposure and the time seated from
// growing by, too.
//
// Of several sources that one place watches, a scan waits up to 200 ms for the
// older ones of the others. A region's alert has lost its signal when none of
// its raised cells has a value. An alert that clears at the instant at which
// its signal returns says only that it cleared.
package rules
