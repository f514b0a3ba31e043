// Package capture keeps the raw bytes of a bridge with the time of their
// arrival, so that what happened in the field can be had again through the same
// decoder.
//
// A capture file is
//
//	WCAP1\n
//	{"bridge":…,"format":…,"started":…}\n
//	records to the end of the file
//
// and a record, all little endian,
//
//	i64  arrival, ns since 1970-01-01T00:00:00Z
//	u32  length of the bytes that follow, at most MaxRecord; its highest bit says
//	     that the link marked them as ones that may have come before
//	     the bytes, as one read gave them
//	u32  CRC-32C of everything before it in the record
//
// A record without bytes says that a new connection began: what was half
// received before it never continues. A file that ends inside a record was cut,
// by a power failure or a full disk; all records before the cut are good.
package capture

import (
	"hash/crc32"
	"time"
)

// magic begins every capture file.
const magic = "WCAP1\n"

// MaxRecord is the largest number of bytes in one record.
const MaxRecord = 1 << 20

// maxHeader bounds the line of JSON, which a damaged file may lack an end of.
const maxHeader = 64 << 10

// again is the bit of a record's length that marks it.
const again = 1 << 31

const (
	prefix = 8 + 4 // arrival and length
	suffix = 4     // CRC
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A Header says where the bytes came from.
type Header struct {
	Bridge  string    `json:"bridge"`
	Format  string    `json:"format"`
	Started time.Time `json:"started"`

	// Whole says that every record is one whole message, not a piece of a
	// byte stream.
	Whole bool `json:"whole,omitempty"`

	// Again says that the link may deliver a message again, and marks it then.
	Again bool `json:"again,omitempty"`
}
