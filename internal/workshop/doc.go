// Package workshop has the rules over records, each in a file named for it: what
// is in force, what stands, what a design may be, what a document says. Pages,
// programs and commands ask here, so that all of them get one answer. A rule
// takes records as values, or asks a small interface that it declares itself.
package workshop
