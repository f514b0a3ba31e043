//go:build race

package raced

// Watched is whether the race detector watches this program.
const Watched = true
