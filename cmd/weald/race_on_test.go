//go:build race

package main

// underRace says that the race detector watches, which takes ten times as long.
const underRace = true
