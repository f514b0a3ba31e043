// Package importing turns recordings of others, and captures, into capture files
// that can be rehearsed and played at once, and gives an account of what was
// accepted and refused, and why.
//
// # What is written
//
// A file in a bridge's own format is cut where its frames end: at each line
// feed, or at each zero byte of the packed format. Each piece that holds a frame
// is written as it is, byte for byte, as one record of the capture, whose arrival
// is the instant at which the piece would arrive: for rows their own time, for
// the formats with a device counter as long after the source's last frame as the
// counter says. Nothing is encoded anew, so no value and no time is rounded. A
// row that lies before one above it arrives with the one above.
//
// Header lines are written, as the decoder will skip them. Pieces without a
// frame are left out, except where rows are read in the light of the rows
// before: a row without a time of its own is as many periods after the start as
// there are rows above it, and a local time in an hour that comes twice is known
// by the time above. There what was refused is written too, and will be refused
// again. Frames that were refused by the configuration alone, of a source that
// it lacks or with too many channels, are written as well: a better
// configuration finds them.
//
// A capture is copied record by record with its arrivals. Damaged records are
// left out. Refused frames stay, since they may begin in one record and end in
// the next.
//
// # How it is made sure
//
// The new file is played before it gets its name, and must give the same scans
// as the original did: the same sources, event times, arrivals, values and raw
// readings to the last bit. If it does not, there is no file and an error says
// so. It is written under another name and gets its own when it is on the disk;
// a file that exists is never overwritten, and an interrupted import leaves
// nothing behind.
//
// # What the account says of clocks
//
// All of it is told, and nothing is mended: which of two clocks was wrong is not
// for a program to guess. A pause is a silence of a source that lasts longer than
// its values do; whether nothing was recorded or the clock was put forward, the
// file cannot tell, and its values are unknown meanwhile. A row that lies before
// the one above it is a step back, and every row up to the newest time so far is
// late, which is charted and not judged. A step of about an hour is probably
// daylight saving in times without a zone.
package importing
