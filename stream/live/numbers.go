package live

import (
	"fmt"
	"math"

	"github.com/gorilla/websocket"
)

// mostNumbers is how many series and maps the wire can number on one connection.
const mostNumbers = math.MaxUint16 + 1

// theMap takes the place of a series for both maps of a mat, which share a number.
const theMap = -1

// numbers are those under which one connection is sent its series and maps: each is
// given when it is first asked for, and stays as long as the connection does. So it
// does not count how many series a daemon has. The reader's goroutine owns it.
type numbers map[numbered]uint16

type numbered struct{ place, series int }

// errNumbers ends a connection that asks for more than can be numbered.
var errNumbers = &end{websocket.ClosePolicyViolation,
	fmt.Sprintf("asks for more than the %d series that a connection can number", mostNumbers), endedLies}

// of returns the number of a series of a place, or of its map. Its error is errNumbers.
func (n numbers) of(place, series int) (uint16, error) {
	key := numbered{place, series}
	if id, ok := n[key]; ok {
		return id, nil
	}
	if len(n) == mostNumbers {
		return 0, errNumbers
	}
	id := uint16(len(n))
	n[key] = id
	return id, nil
}
