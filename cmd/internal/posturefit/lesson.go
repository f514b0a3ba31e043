package main

import (
	"io/fs"

	"weald/cmd/internal/beds"
	"weald/rules/posture"
)

// How much is learned from: few frames of each recording, because a motionless
// person looks the same for a minute, and many inventions on each.
const (
	everyFrame = 15
	inventions = 15
	passes     = 25
)

// taughtPoses are the poses of the PoPu set that are learned from; the others
// are left to tests.
var taughtPoses = []string{"1", "3", "5", "7"}

// A lesson is pictures to learn from, by subject, and those of the other mats,
// whose only person is nobody's neighbour.
type lesson struct {
	subjects []string
	by       [][]pictured // by subject
	other    []pictured
}

// read makes a lesson of the recordings, with so many inventions on each map.
func read(postures, layers fs.FS, every, inventions int) (*lesson, error) {
	names, err := beds.Subjects(postures)
	if err != nil {
		return nil, err
	}
	l := &lesson{subjects: names}
	for i, name := range names {
		maps, err := beds.Postures(postures, name, every)
		if err != nil {
			return nil, err
		}
		l.by = append(l.by, teach(maps, inventions, uint64(i+1)))
	}
	for i, layer := range []beds.Layer{beds.Over, beds.Under} {
		var maps []beds.Map
		for _, pose := range taughtPoses {
			some, _, err := beds.Layers(layers, layer, "left"+pose, "right"+pose, "supine"+pose)
			if err != nil {
				return nil, err
			}
			for k := 0; k < len(some); k += 10 {
				maps = append(maps, some[k])
			}
		}
		l.other = append(l.other, teach(maps, 2*inventions, uint64(100+i))...)
	}
	return l, nil
}

// without fits a model to everybody but those named.
func (l *lesson) without(passes int, names ...string) *posture.Model {
	samples := append([]pictured(nil), l.other...)
	for i, s := range l.subjects {
		left := false
		for _, name := range names {
			left = left || name == s
		}
		if !left {
			samples = append(samples, l.by[i]...)
		}
	}
	return learn(samples, passes, 1)
}
