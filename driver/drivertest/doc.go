// Package drivertest holds what the author of a driver tests with: a line in
// memory ([Pipe]), an exchange that must be used up ([Replay]), the transcript of
// a real instrument played back ([Transcript]), a pseudo-terminal that can be
// unplugged ([PTY]) and, in one line, the suite that says whether a driver keeps
// the contract of package driver ([Conformance]).
//
// [SCPIMeter], [Talker] and [ModbusBus] are simulated instruments of many kinds
// that read a [Bench] and misbehave on demand ([Faults]); driver/simulate has the
// cables to plug them in with. Like that package they share no code with the
// drivers they are read by. Only tests import this package.
package drivertest
