// Package outbox follows the record and lets senders send.
//
// It reads the changes of alerts from the record alone, so that nothing is sent of
// what is not kept. What package notify makes of a change is in the record as one
// write before any of it is sent, and so is what became of each message. A start
// reads how far that had come and goes on there: a message whose outcome is not in
// the record is sent again, with the same key.
//
// Nothing waits for it: it takes from the record what the pipeline has put there.
// If the record refuses a notice, as on a disk that is full to its reserve, the
// message is sent all the same, and perhaps once more after a restart.
package outbox
