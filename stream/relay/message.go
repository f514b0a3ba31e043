package relay

import (
	"encoding/binary"
	"errors"
	"fmt"

	"weald/stream/record"
)

// An Item is a scan of a source.
type Item struct {
	Source string // "bridge/source"
	Scan   record.Scan
}

// messageVersion is the version in which messages are written. Version 1: this byte, then
// for each run of scans of one source the length in bytes (uvarint) of a block of them, and
// the block, which has a checksum. Ordinals in it mean nothing.
const messageVersion = 1

// pack appends as many of the items to dst as fit into so many bytes, one at least, and
// returns how many. Its error is about the first item alone, which no message can have: it
// wraps record.ErrInvalid or errTooLong.
func pack(dst []byte, items []Item, most int) ([]byte, int, error) {
	dst = append(dst, messageVersion)
	var body []byte
	done, longest := 0, mostRun
	for done < len(items) {
		run := 1
		for done+run < len(items) && run < longest && items[done+run].Source == items[done].Source && len(items[done+run].Scan.Raw) == len(items[done].Scan.Raw) {
			run++
		}
		var err error
		body, err = appendRun(body[:0], items[done:done+run])
		if err == nil && len(dst)+len(body)+binary.MaxVarintLen64 > most {
			err = errTooLong
		}
		switch {
		case err == nil:
			dst = append(binary.AppendUvarint(dst, uint64(len(body))), body...)
			done += run
			longest = mostRun
		case done > 0 && errors.Is(err, errTooLong):
			return dst, done, nil
		case run > 1: // one of them may be to blame for all
			longest = 1
		case done > 0:
			return dst, done, nil // it is the first of the next message
		default:
			return dst, 0, err
		}
	}
	return dst, done, nil
}

// appendRun appends scans of one source as a block.
func appendRun(dst []byte, items []Item) ([]byte, error) {
	b := record.Block{Source: items[0].Source, Number: 1, Scans: make([]record.Scan, len(items))}
	for i := range b.Scans {
		b.Scans[i] = items[i].Scan
		b.Scans[i].Ord = uint64(i + 1)
	}
	return b.Append(dst)
}

var errTooLong = errors.New("a scan that is longer than a message may be")

// mostRun bounds what one block of a message has, so that it fits into one: a scan has
// 64 KB at most.
const mostRun = 8

// unpack is the inverse of pack.
func unpack(b []byte, take func(Item)) error {
	if len(b) == 0 || b[0] == 0 {
		return fmt.Errorf("a message of no version: %w", record.ErrDamaged)
	}
	if b[0] > messageVersion {
		return fmt.Errorf("a message of version %d, known up to %d: %w", b[0], messageVersion, record.ErrNewer)
	}
	for b = b[1:]; len(b) > 0; {
		n, width := binary.Uvarint(b)
		if width <= 0 || n > uint64(len(b)-width) {
			return fmt.Errorf("a message that ends early: %w", record.ErrDamaged)
		}
		block, err := record.DecodeBlock(b[width : width+int(n)])
		if err != nil {
			return err
		}
		for i := range block.Scans {
			take(Item{block.Source, block.Scans[i]})
		}
		b = b[width+int(n):]
	}
	return nil
}
