// Package posture says how a person lies on a mat.
package posture
