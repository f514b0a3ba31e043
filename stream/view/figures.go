package view

import "weald/rules/tuning"

// Figures are tuning figures as programs see them.
type Figures struct {
	Raised        int      `json:"raised"`
	Told          int      `json:"told" doc:"Of the raised, those that people were told: an alert that chatters is told once"`
	Cleared       int      `json:"cleared"`
	Standing      int      `json:"standing" doc:"Still raised at the end"`
	PerPlaceHour  *float64 `json:"alerts_per_place_hour"`
	BusyShare     *float64 `json:"share_of_busy_10_min" doc:"Of 10-minute periods, those with more than 10 raises"`
	StandingLong  int      `json:"standing_over_24_h"`
	Chattering    []string `json:"chattering" nullable:"false" doc:"Ids of alerts that were raised more than 3 times in 10 minutes"`
	InAMinute     []string `json:"raised_3_times_in_1_min" nullable:"false" doc:"Ids; chattering as ISA-18.2 counts it"`
	Floods        int      `json:"floods" doc:"More than 10 raises in any 10 minutes, until fewer than 5 are left in them"`
	FloodShare    *float64 `json:"share_in_flood" doc:"Of the time"`
	Acknowledged  int      `json:"acknowledged"`
	AckWithin5Min *float64 `json:"share_acknowledged_within_5_min" doc:"Of those that somebody was called for; null where nobody was"`
	MedianAckS    *float64 `json:"median_s_to_acknowledge"`
	NinetyAckS    *float64 `json:"90th_percentile_s_to_acknowledge"`
}

// FiguresOf is the view of figures.
func FiguresOf(f *tuning.Figures) Figures {
	return Figures{
		Raised: f.Raised, Told: f.Told, Cleared: f.Cleared, Standing: f.Standing,
		PerPlaceHour: Number(f.PerPlaceHour), BusyShare: Number(f.BusyShare), StandingLong: f.StandingLong,
		Chattering: ids(f.Chattering), InAMinute: ids(f.InAMinute), Floods: f.Floods, FloodShare: Number(f.FloodShare),
		Acknowledged: f.Answered, AckWithin5Min: Number(f.AckSoon), MedianAckS: Number(f.AckMedian), NinetyAckS: Number(f.AckNinety),
	}
}

func ids(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
