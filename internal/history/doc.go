// Package history keeps every record in one SQLite file: designs, batches,
// coils, measurements and the readings behind them. Records are only ever
// added. A measurement is acknowledged when it is on the disk, not before.
package history
