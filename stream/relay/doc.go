// Package relay carries scans from the machine that reads bridges to the one that judges
// them, through a stream of NATS JetStream.
//
// A Writer puts them into the stream whole, as the record has them (record.Scan: raw, with
// event time and arrival), in the order in which they came; Follow gives them to whoever
// judges, in that order. What was put is safe when the stream's servers have it on disk,
// so that a bridge which keeps what was not acknowledged loses nothing when either machine
// is killed, and a judge goes on where its record ends.
//
// Once: arrivals of a stream ascend, whoever writes it, so that a judge knows by the
// newest arrival that it has of a source which scans are new. A Writer begins with a claim,
// after which nothing counts of the one before it, also where that does not know yet.
package relay
