package handover

import (
	"fmt"
	"strings"
)

// MaxFrame is the size in bytes of the largest message that can be read.
const MaxFrame = 64 << 10

// Topic is where the bridge with the given id publishes its frames. The error
// says that such an id would reach into other bridges' topics.
func Topic(bridge string) (string, error) {
	if bridge == "" || strings.ContainsAny(bridge, "+#/\x00") {
		return "", fmt.Errorf("bridge id %q cannot be part of a topic: it must not be empty nor contain + # /", bridge)
	}
	return "weald/" + bridge + "/frames", nil
}
