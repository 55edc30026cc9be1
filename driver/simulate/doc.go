// Package simulate is a workshop that does not exist: coils that warm and cool,
// a meter and a probe with the faults of real ones, clips that slip, and cables
// that can be pulled. The demo runs on it and so do the end-to-end tests.
//
// It has three layers, each usable without the next:
//
//   - [Bench] is the physics: a room, a coil on the clips, what the meter and
//     the probe would show at an instant. It does nothing by itself; time comes
//     from the clock it was given, so a test can run a day in a millisecond.
//   - [SCPIMeter], [Talker] and [ModbusBus] are instruments. They speak on any
//     byte stream, read the bench, and misbehave on demand.
//   - [Plug] is where an instrument's cable goes in: a pseudo-terminal under a
//     stable name, or a loopback TCP port where there are none.
//
// [Workshop] puts them together with an invented winder and an operator.
//
// The package is a fair opponent of the protocol drivers: it shares no code
// with them, and what it sends was written from the standards, not from what
// they accept. It leaves every judgement to others: it never computes a
// resistance at 20 °C from a reading, it only knows the true one.
package simulate
