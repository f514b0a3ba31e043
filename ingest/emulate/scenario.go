package emulate

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"weald/ingest/frame"
)

// The sensors of the invented equipment. A mat's 4095 counts are 205 mmHg, a
// wrap's 65534 are 655 mmHg.
var (
	matSensor  = Sensor{PerMMHg: 20, Top: 4095, Noise: 4, Gain: 0.05, Dead: 0.001}
	seatSensor = Sensor{PerMMHg: 20, Top: 4095, Noise: 4, Gain: 0.05}
	wrapSensor = Sensor{PerMMHg: 100, Top: 65534, Noise: 20, Gain: 0.01}
)

// The shapes and rates of the invented equipment. A mat's rows run from head to
// foot, a seat's from back to front.
const (
	MatRows, MatColumns   = 64, 32
	SeatRows, SeatColumns = 16, 16
	WrapChannels          = 4 // ankle, ankle, calf, calf

	matRate, seatRate, wrapRate = 2, 5, 10 // scans a second
)

var (
	packed12 = Encoding{Coding: frame.U12}
	packed16 = Encoding{Coding: frame.U16} // which can say "no reading"
	halves   = Encoding{Coding: frame.U12, Split: MatRows * MatColumns / 2}
	lines    = Encoding{Line: true}
)

// A Scenario is something to play, by name.
type Scenario struct {
	Name, About string
	Encoding    Encoding

	// New begins the story with a source of the given number.
	New func(source uint16, seed uint64) Stream
}

// scenarios has every Scenario, ordered by name.
var scenarios = []Scenario{
	{"bed", "a person on a 64 × 32 mat, turned every few minutes; packed", packed12, func(n uint16, seed uint64) Stream {
		return bed(n, 1, seed, Lie{Posture: Supine, For: 4 * time.Minute}, Lie{Posture: OnLeft, For: 3 * time.Minute}, Lie{Posture: OnRight, For: 3 * time.Minute})
	}},
	{"bed-heavy", "a heavy person who lies on their back for two minutes at a time; packed", packed12, func(n uint16, seed uint64) Stream {
		return bed(n, 1.35, seed, heavy...)
	}},
	{"bed-failing", "a mat at 4/s that fails under a person: two rows at 5 s, every third scan from 12 s on, all of it at 3 min; packed", packed16, func(n uint16, seed uint64) Stream {
		lies := []Lie{{Posture: Supine, For: time.Hour}}
		return &Failing{
			Sampled: NewSampled(n, MatRows*MatColumns, 4, NewBed(MatRows, MatColumns, 1, lies, seed), matSensor, seed),
			First:   20 * MatColumns, End: 22 * MatColumns, Loose: 5 * time.Second, Losing: 12 * time.Second, Silent: 3 * time.Minute,
		}
	}},
	{"seat", "a person on a 16 × 16 cushion who shifts and relieves; packed", packed12, func(n uint16, seed uint64) Stream {
		return seat(n, 1, seed, restless...)
	}},
	{"seat-still", "a person who sits still for six minutes at a time; packed", packed12, func(n uint16, seed uint64) Stream {
		return seat(n, 1, seed, still...)
	}},
	{"wrap", "a leg in a wrap that rests, stands and walks; line", lines, func(n uint16, seed uint64) Stream {
		return leg(n, seed, Wrap{Ankle: 40, Calf: 26, Stands: 12, Steps: 14, Loses: 0.23, Moves: active})
	}},
	{"wrap-tight", "the same with a turn too tight at the ankle, from 10 s to 40 s and every three minutes; line", lines, func(n uint16, seed uint64) Stream {
		return leg(n, seed, tight)
	}},
}

// Scenarios lists what can be played.
func Scenarios() []Scenario { return slices.Clone(scenarios) }

// Named returns the scenario of a name, or an error that lists all names.
func Named(name string) (Scenario, error) {
	var names []string
	for _, s := range scenarios {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Scenario{}, fmt.Errorf("there is no scenario %q; there are %s", name, strings.Join(names, ", "))
}

func bed(n uint16, weight float64, seed uint64, lies ...Lie) Stream {
	return NewSampled(n, MatRows*MatColumns, matRate, NewBed(MatRows, MatColumns, weight, lies, seed), matSensor, seed)
}

func seat(n uint16, weight float64, seed uint64, sits ...Sit) Stream {
	return NewSampled(n, SeatRows*SeatColumns, seatRate, newSeat(SeatRows, SeatColumns, weight, sits, seed), seatSensor, seed)
}

func leg(n uint16, seed uint64, w Wrap) Stream {
	return NewSampled(n, WrapChannels, wrapRate, &w, wrapSensor, seed)
}

// heavy is somebody whose back bears too much until pillows ease the side.
var heavy = []Lie{
	{Posture: Supine, For: 110 * time.Second},
	{Posture: OnLeft, For: 150 * time.Second, Eased: 0.3},
	{Posture: Supine, For: 110 * time.Second},
	{Posture: OnRight, For: 150 * time.Second, Eased: 0.3},
}

var restless = []Sit{
	{Upright, 50 * time.Second}, {LeanLeft, 20 * time.Second},
	{Upright, 30 * time.Second}, {PushUp, 20 * time.Second},
	{Upright, 45 * time.Second}, {LeanRight, 18 * time.Second},
	{Upright, 25 * time.Second}, {PushUp, 17 * time.Second},
}

var still = []Sit{{Upright, 6 * time.Minute}, {Gone, 90 * time.Second}}

var active = []Move{
	{Do: Resting, For: 25 * time.Second}, {Do: Standing, For: 15 * time.Second},
	{Do: Walking, For: 40 * time.Second}, {Do: Standing, For: 10 * time.Second},
	{Do: Resting, For: 90 * time.Second},
}

var tight = Wrap{Ankle: 40, Calf: 25, Stands: 11, Steps: 12, Loses: 0.18, Moves: []Move{
	{Do: Resting, For: 10 * time.Second},
	{Do: Resting, For: 30 * time.Second, Ankle: 29},
	{Do: Resting, For: 20 * time.Second}, {Do: Standing, For: 20 * time.Second},
	{Do: Walking, For: 40 * time.Second}, {Do: Resting, For: 60 * time.Second},
}}
