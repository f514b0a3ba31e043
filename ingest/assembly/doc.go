// Package assembly makes scans of frames: one Assembler per source counts what
// was lost, gives every scan its event time, puts the parts of a split scan
// together, converts readings to pressure, and keeps damaged scans away from the
// rules.
//
// # Sequence
//
// Every frame of a numbered source carries a sequence number and a counter of
// milliseconds; both wrap. Compared with the newest frame so far, a frame is
//
//   - next, when its number and counter are ahead (the counter may be equal).
//     Numbers that were left out are a gap, counted in frames and never taken
//     back. A number that stays the same while the counter goes on is next as
//     well: a device that does not number its frames has no gaps.
//   - a part, when number and counter are those of the scan that is being put
//     together and its channels are still missing: some devices number scans,
//     not frames.
//   - a repeat, when number and counter are those of a frame that was received,
//     and its readings too. It is dropped and counted.
//   - late, when its number is missing among the last 256 and its counter lies
//     between those of the frames received before and after it. It was
//     overtaken on its way. It is counted, does not move the clock, and is
//     passed on with its own, earlier, event time; the readings of other parts
//     are missing from it unless its scan is still being put together.
//   - the first after a reboot, whenever else number or counter fall back, or
//     when the number leaps by more than ten a millisecond of the counter, or,
//     where a nominal rate is stated, by more than the time since the frame before
//     explains: half as much again as the pace of the numbers so far, and 10 s
//     more. The sequence starts again, no gap is counted, and the clock begins an
//     epoch. Neither is a gap counted where the counter leaps with the number,
//     so that the clock begins an epoch by itself.
//
// A device that restarts within 256 frames of its first one repeats its own
// numbers and counters. Other readings with them tell it at once. Where the
// readings are the same too, as of a mat without a body, or are not known
// (Recall), it looks like repeats, with one difference: they come at the device's
// pace, while true repeats come in a burst. At least 8 repeats in order, with
// nothing between them, that go on for a second by the device's time and by the
// host's, are a reboot.
//
// # Delivered again
//
// A broker that was not told that frames arrived delivers them again, as many as
// came since, and marks them. So where the link has such marks (Remember), all
// frames of the last minute are remembered, at least 256 and at most 8,192,
// beyond reboots of the device. A marked frame (Again) that is among them, with the
// same readings as far as they are known, is a repeat. A marked frame that is not
// is a frame like any other, except that one without readings never is a reboot:
// who went on after a start (Recall) has not been told of those.
//
// Where the readings are not known, a marked frame that has never come is taken
// for one that has if a device which started again within that minute gave both
// the same number and counter.
//
// # Counters that do not count milliseconds
//
// A counter's pace is compared with that of the arrivals, over at least 3 s and
// 4 scans. One that stands still, or counts seconds or microseconds, is of no
// use: it is told (Stats.Counting), and the event time of a scan is its arrival
// until the counter keeps the pace of a clock again, for a place must not become
// unknown only because of a wrong figure. That then begins an epoch. Two frames
// with the same counter and the same channels are two scans when their numbers
// differ. Stored and overtaken frames have no place meanwhile.
//
// Microseconds look like a queue that is drained a thousand times as fast as it
// was filled. So they are believed only of a counter that has never kept the
// pace since it started, and at a scan rate below three times the nominal one
// (where none is stated: when scans are more than 10 s apart by the counter).
//
// # Stored frames
//
// Stored frames (recorded earlier, sent late) may have any number: they fill
// holes, move the sequence forward where they can follow on it, or lie far from
// it. They never are a reboot and never move the clock. One that cannot be given a time, because no frame
// has been received live yet or because its counter belongs to an earlier boot,
// is not passed on and counted as unplaced: a reading at an invented time is
// worse than none.
//
// # Rows
//
// Rows may carry the time of day. In a recording it counts as it is. On a live
// link it is trusted at the start, and its pace afterwards: the daemon follows
// by how much the fastest rows are ahead of, or behind, their arrival, and a row
// that leaps is refused. A row leaps when its time is
//
//   - more than clock.Jump ahead of both the fastest rows so far and the host
//     (the first row: ahead of the host). What lies behind the host may merely
//     have been delayed, as rows are that come in a burst when a way is free again;
//   - more than clock.Jump before a row that was accepted. Less is late: counted
//     and passed on, and not judged.
//
// When at least 5 rows in unbroken order, over at least 2 s and 3 nominal
// periods, have leapt alike (to within clock.Jump), the logger's clock was set,
// and an epoch begins, which is counted. So it does when rows have come late for
// 20 s, by the host's time and by their own, without ever catching up: an hour
// set back in a silence of two goes back behind no row. In the new epoch times
// count as they are if that takes them on, and not farther from the host's than
// they were. Else they go on as if the clock had not been set, for those that go
// back would be older than what was judged, and those that lie in the future
// would make older all that other sources say: event time = row's time − new
// lead over the arrival + old lead.
//
// After a silence a lead may have changed by a thousandth of it. A time more
// than 80 years from the host's is never believed.
//
// # Scans
//
// A scan ends with the frame that announces no more of it. A frame with another
// counter, or with channels that the scan already has, begins a new scan and
// ends the former one as it is; so does Flush after 300 ms without a part.
// Channels that were not delivered are NaN, never an older reading. A reading at
// the rail is NaN in Values and kept in Raw. A frame with readings beyond the
// source's channels is refused whole.
//
// # Damage
//
// Some bridges send one or two scans at the start of a recording in which
// bytes were lost or shifted: hundreds of cells at values like 1280, 2560, 3840.
// Taken as readings they would be the heaviest load that the mat ever saw.
// They must raise nothing, and yet no load may ever be taken for them: a
// hundred cells far above the rest, for minutes, are an emergency.
//
// The two differ in kind. Load is a quantity: it shows in how much the cells
// read and how many of them. Damage is an error of writing: it shows in which
// digits the readings have. So only digits are looked at. A sensor has no
// liking for multiples of 256; one reading in 256 happens to be one, however
// heavy the load (in recordings of people never more than 1 in 10 of at least 32
// large readings), while in a damaged scan nearly all are. A scan is suspect
// when of its readings of 256 and more, at least 32 and all whole numbers, more
// than half are multiples of 256, of at least 8 different ones. How large the
// readings are beyond that, where they lie and whether they came suddenly is no
// matter.
//
// Digits are not proof. A device may count in steps of 256 (eight bits in the
// upper byte). So a suspect scan is kept back until its successor shows how the
// device counts:
//
//   - The successor's digits are fine (most readings other than 0 are no
//     multiples), or it has no reading but 0: the suspects were damaged. They
//     are passed on with all readings missing, at their own times, and counted.
//   - The successor is suspect as well, or counts in multiples though too few
//     to be suspect: it is kept back too, up to three scans. With the fourth,
//     this is how the device counts; all are passed on in order, with their
//     times, nothing is lost, and the source is not suspected again until a
//     scan has fine digits.
//
// Suspects are counted toward the four from one scan with fine digits to the
// next, whatever came between. So a load that lasts longer than three scans is
// never thrown away, whatever its digits, its amount and its extent; and a load
// with honest digits is never kept back for even one. At the end of the input,
// suspects that are still kept back are taken to be damaged.
package assembly
