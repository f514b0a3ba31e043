// Package host asks the machine how it is: room on a disk, memory, what the kernel
// thinks of its clock. What cannot be told is NaN, which is not 0.
package host
