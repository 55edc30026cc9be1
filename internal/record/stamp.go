package record

// Stamp tells two states of the history apart, as far as coils go: it changes
// with every measurement, check measurement and entry of the journal, so also
// with what is withdrawn, opened, closed or revised, in this program or another.
// Kept comparisons and the readings of a study do not change it; cooling curves,
// soaks and coils not recorded do, by their line in the journal.
type Stamp struct{ Measurements, Checks, Journal int64 }
