//go:build race

package main

// slow says that the race detector is on. It has nothing to find here, where
// nothing runs beside anything else, and takes ten times as long.
const slow = true
