// Package person is about everything that a record has of one person, who is known to
// it by a code: to give it away whole, and to take it out.
//
// Of a person are the sessions and tries with the code, the readings and the history of
// their places while they lasted, and everything that names the code, whether as whose
// it is or as who did it. What an alert, a mark or an action is about is what happened
// at a place; who was there is known by the session alone.
//
// An erasure leaves the record in order. Readings become unknown, and the scans stay,
// so that everything else is judged again as it was and every count is the same. The
// code becomes another one, made at random, that stands for nobody; changes of alerts
// stay under it. What people wrote goes where the person was, since it may describe
// somebody. The audit's chain holds: see package audit.
package person
