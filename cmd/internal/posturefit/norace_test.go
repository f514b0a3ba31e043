//go:build !race

package main

const slow = false
