package sqlite

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"iter"
	"os"

	"weald/stream/record"
)

// pages reads a file of SQLite page by page, without believing its tree: it
// finds what the tree has lost. Every body says itself whether it is whole.
type pages struct {
	db     *os.File // nil if there is none
	log    *os.File // nil if there is none
	frames []frame
	latest map[uint32]int64 // offset in the log of each page's last version
}

// openPages opens a file and a log of it, which need not be beside it.
//
// A reader that was the last one to close a file puts its log into it and takes
// the log away. Where that happens between the look at the log and the opening,
// both are opened again: what was in the log is then in the file.
func openPages(path, logPath string) (*pages, error) {
	for try := 0; ; try++ {
		p, err := openPagesOnce(path, logPath)
		if try < 3 && errors.Is(err, os.ErrNotExist) {
			continue
		}
		return p, err
	}
}

func openPagesOnce(path, logPath string) (*pages, error) {
	p := &pages{latest: map[uint32]int64{}}
	var err error
	if p.db, err = os.Open(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	scan, err := scanLog(logPath)
	if err == nil && len(scan.frames) > 0 {
		p.frames = scan.frames
		p.log, err = os.Open(logPath)
	}
	if err != nil {
		p.close()
		return nil, err
	}
	for _, f := range p.frames {
		if f.offset > 0 {
			p.latest[f.page] = f.offset
		}
	}
	return p, nil
}

func (p *pages) close() {
	for _, f := range []*os.File{p.db, p.log} {
		if f != nil {
			f.Close()
		}
	}
}

// bodies yields every whole body: of the frames given, newest first, and then,
// if file is set, of the file. One body may come more than once, and one that
// was replaced comes after what replaced it.
func (p *pages) bodies(frames []frame, file bool) iter.Seq2[[]byte, error] {
	return func(yield func([]byte, error) bool) {
		buf := make([]byte, pageSize)
		for i := len(frames) - 1; i >= 0; i-- {
			if frames[i].offset == 0 {
				continue
			}
			if _, err := p.log.ReadAt(buf, frames[i].offset); err != nil {
				yield(nil, err)
				return
			}
			if !p.bodiesOn(buf, yield) {
				return
			}
		}
		for n := int64(0); file && p.db != nil; n++ {
			switch _, err := p.db.ReadAt(buf, n*pageSize); {
			case errors.Is(err, io.EOF):
				return
			case err != nil:
				yield(nil, err)
				return
			}
			if !p.bodiesOn(buf, yield) {
				return
			}
		}
	}
}

// bodiesOn yields the bodies of all rows that begin on a page. It tries every
// place, so that damage to what says where rows begin costs none of them.
func (p *pages) bodiesOn(page []byte, yield func([]byte, error) bool) bool {
	for at := range page {
		if body := p.row(page[at:]); body != nil && !yield(body, nil) {
			return false
		}
	}
	return true
}

// row returns the body of a row of a table, nil if there is none here, or none
// that is whole. The row may go on on other pages.
func (p *pages) row(cell []byte) []byte {
	size, n := varint(cell)
	if n == 0 || size < 8 || size > record.MaxDocument+1<<16 {
		return nil
	}
	_, m := varint(cell[n:])
	if m == 0 {
		return nil
	}
	local := cell[n+m:]
	from, ok := lastBlob(local, size)
	if !ok {
		return nil
	}
	// How much of a row lies on its page is fixed by the format.
	const most, least = pageSize - 35, (pageSize-12)*32/255 - 23
	here := int(size)
	if here > most {
		if here = least + (int(size)-least)%(pageSize-4); here > most {
			here = least
		}
	}
	if here > len(local) || int(size) > here && here+4 > len(local) {
		return nil
	}
	for _, logFirst := range []bool{true, false} {
		row := append(make([]byte, 0, size), local[:here]...)
		if int(size) > here {
			row = p.chain(row, int(size), binary.BigEndian.Uint32(local[here:]), logFirst)
		}
		if uint64(len(row)) == size {
			if _, err := record.FormOf(row[from:]); err == nil {
				return row[from:]
			}
		}
		if int(size) <= here {
			break
		}
	}
	return nil
}

// chain appends the pages that follow, up to size bytes. A page may be in the
// log, in the file, or in both.
func (p *pages) chain(row []byte, size int, next uint32, logFirst bool) []byte {
	buf := make([]byte, pageSize)
	for next != 0 && len(row) < size {
		offset, logged := p.latest[next]
		var err error
		switch {
		case logged && (logFirst || p.db == nil):
			_, err = p.log.ReadAt(buf, offset)
		case p.db != nil:
			_, err = p.db.ReadAt(buf, int64(next-1)*pageSize)
		default:
			return row
		}
		if err != nil {
			return row
		}
		next = binary.BigEndian.Uint32(buf)
		row = append(row, buf[4:4+min(pageSize-4, size-len(row))]...)
	}
	return row
}

// lastBlob returns where the last column of a row begins, if the row begins like
// one of ours: with columns that add up to its size, the last a blob that begins
// like a body. That is where all tables have their bodies.
func lastBlob(row []byte, size uint64) (from int, ok bool) {
	head, n := varint(row)
	if n != 1 || head < 2 || head > 64 || head > uint64(len(row)) {
		return 0, false
	}
	end, last := head, uint64(0)
	for types := row[n:head]; len(types) > 0; {
		k, n := varint(types)
		if n == 0 {
			return 0, false
		}
		types, last = types[n:], k
		switch {
		case k >= 12:
			end += (k - 12) / 2
		case k <= 9:
			end += [...]uint64{0, 1, 2, 3, 4, 6, 8, 8, 0, 0}[k]
		default:
			return 0, false
		}
	}
	if end != size || last < 12 || last%2 != 0 {
		return 0, false
	}
	at := size - (last-12)/2
	return int(at), at < uint64(len(row)) && bytes.IndexByte(forms, row[at]) >= 0
}

// forms are the bytes that a body can begin with.
var forms = []byte{byte(record.FormBlock), byte(record.FormTicks), byte(record.FormEntry), byte(record.FormDocument),
	byte(record.FormSnapshot), byte(record.FormStretch), byte(record.FormRetired), byte(record.FormProgress)}

// varint reads a number as SQLite writes them: high bits first, seven in a byte,
// eight in the ninth. n is 0 if it is cut off.
func varint(b []byte) (v uint64, n int) {
	for i := range min(len(b), 9) {
		if i == 8 {
			return v<<8 | uint64(b[i]), 9
		}
		v = v<<7 | uint64(b[i]&0x7f)
		if b[i] < 0x80 {
			return v, i + 1
		}
	}
	return 0, 0
}
