// Package paper is what reports are printed on: one HTML file that needs nothing
// else, loads nothing and runs nothing, with its drawings in it as SVG. It prints on
// A4 with the page's number and what it is at the foot of each page, and in black
// where there is no colour.
//
// A page is either a Document, which is made of facts, tables and drawings, or a
// template of its own in the same frame (New). The frame has the style, the heads
// and feet of pages, and the cautions, which are on every page that is made here.
//
// What is not known is said in words or left open, and is never 0: see words.go.
package paper
