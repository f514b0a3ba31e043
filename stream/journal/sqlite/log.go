package sqlite

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
)

// The form of SQLite's write-ahead log: a header, then frames, each a header and
// a page. Numbers are big endian. Every checksum goes on from the one before it,
// so that SQLite, at the first that is wrong, ignores all that follows.
const (
	logHeader   = 32
	frameHeader = 24
	frameSize   = frameHeader + pageSize
	logMagic    = 0x377f0682 // the lowest bit says in which order words are summed
)

// A frame is one page in a log.
type frame struct {
	page   uint32
	commit bool  // a transaction ends with it
	offset int64 // of the page's content
}

// A logScan is what is in a log.
type logScan struct {
	frames []frame // of the present generation, oldest first
	whole  int     // how many of them SQLite will find good
}

// errEmptied means that there is nothing in a file, and something in its log.
var errEmptied = fmt.Errorf("it is empty, and its log is not: %w", errCorrupt)

// emptied reports whether that is so. SQLite would take the log away when it opens the file,
// with all that was acknowledged and is in no other place: it must not be let near it. A
// file that is just being made has something in it before its log has.
func emptied(path string) bool {
	empty := func() bool {
		info, err := os.Stat(path)
		return err == nil && info.Size() == 0
	}
	if !empty() {
		return false
	}
	log, err := scanLog(path + "-wal")
	return err == nil && len(log.frames) > 0 && empty()
}

// dropped returns what SQLite would ignore although it was written: if a
// transaction ends behind the first bad frame, all from the beginning of the
// transaction that the bad frame is in. What is left of one that never ended was
// never acknowledged.
func (l *logScan) dropped() []frame {
	ends := func(f frame) bool { return f.commit }
	if !slices.ContainsFunc(l.frames[l.whole:], ends) {
		return nil
	}
	from := l.whole
	for from > 0 && !l.frames[from-1].commit {
		from--
	}
	return l.frames[from:]
}

// sum goes on with the checksum of a log.
func sum(order binary.ByteOrder, s [2]uint32, b []byte) [2]uint32 {
	for ; len(b) >= 8; b = b[8:] {
		s[0] += order.Uint32(b) + s[1]
		s[1] += order.Uint32(b[4:]) + s[0]
	}
	return s
}

// scanLog reads a log. No file, or one without frames, has none.
func scanLog(path string) (*logScan, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return &logScan{}, nil
	} else if err != nil {
		return nil, err
	}
	defer f.Close()
	head := make([]byte, logHeader)
	if _, err := io.ReadFull(f, head); err != nil {
		return &logScan{}, ignoreEOF(err)
	}
	var order binary.ByteOrder = binary.LittleEndian
	if head[3]&1 == 1 {
		order = binary.BigEndian
	}
	s := sum(order, [2]uint32{}, head[:24])
	good := binary.BigEndian.Uint32(head)&^1 == logMagic && stated(head[24:]) == s
	salt := [8]byte(head[16:24])
	l := &logScan{}
	buf := make([]byte, frameSize)
	for at := int64(logHeader); ; at += frameSize {
		if _, err := io.ReadFull(f, buf); err != nil {
			return l.trim(), ignoreEOF(err)
		}
		if at == logHeader && !good {
			salt = [8]byte(buf[8:16]) // the header is damaged: believe the frames
		}
		s = sum(order, sum(order, s, buf[:8]), buf[frameHeader:])
		mine := [8]byte(buf[8:16]) == salt
		if good = good && mine && stated(buf[16:]) == s; good {
			l.whole++
		}
		if !mine {
			l.frames = append(l.frames, frame{}) // of an earlier generation, or damaged
			continue
		}
		l.frames = append(l.frames, frame{binary.BigEndian.Uint32(buf), binary.BigEndian.Uint32(buf[4:]) != 0, at + frameHeader})
	}
}

// trim drops what is left of earlier generations, which is at the end; between
// frames of this one it is a damaged frame, and stays as one without a page.
func (l *logScan) trim() *logScan {
	for len(l.frames) > l.whole && l.frames[len(l.frames)-1].offset == 0 {
		l.frames = l.frames[:len(l.frames)-1]
	}
	return l
}

func stated(b []byte) [2]uint32 {
	return [2]uint32{binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])}
}

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}
