// Package guesses bounds how often somebody may guess: so many times at once, and one
// more each time a while has passed. It works without a clock of its own and in
// bounded memory, whoever comes.
package guesses
