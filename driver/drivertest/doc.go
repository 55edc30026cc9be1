// Package drivertest holds what the author of a driver tests with: a line in
// memory ([Pipe]), a recorded conversation that must be used up ([Replay]), a
// pseudo-terminal that can be unplugged ([PTY]) and, in one line, the suite
// that says whether a driver keeps the contract of package driver
// ([Conformance]). Fakes of particular instruments are left to their drivers.
package drivertest
