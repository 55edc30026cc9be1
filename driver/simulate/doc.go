// Package simulate is a workshop that does not exist: coils that warm and cool,
// a meter and a probe, hands on the clips, and cables. The demo runs on it. What
// only tests need, such as instruments with the faults of real ones, is in
// driver/drivertest and stands on this package.
//
// It has three layers, each usable without the next:
//
//   - [Bench] is the physics: a room, a coil on the clips, what the meter and
//     the probe would show at an instant. It does nothing by itself; time comes
//     from the clock it was given, so a test can run a day in a millisecond.
//   - [Meter] and [Probe] are instruments. They speak on any byte stream and
//     read the bench.
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
