// Package record has the type of every record that a history keeps, and says of
// each what is valid. Values here are plain: nothing reads a file, a clock or a
// database. How records are stored is for package history, what they mean
// together for package workshop.
package record
