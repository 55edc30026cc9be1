package words

import (
	"time"
)

// TimestampUTC writes a time for a program: "2026-03-14T12:00:05Z".
func TimestampUTC(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Time writes a time to the second in a zone: "2026-03-14 13:00:05". The script of
// the pages shows it in the reader's own: localTime in times.js.
func Time(t time.Time, zone *time.Location) string { return t.In(zone).Format("2006-01-02 15:04:05") }

// Minute writes a time to the minute in a zone: "2026-03-14 13:00".
func Minute(t time.Time, zone *time.Location) string { return t.In(zone).Format("2006-01-02 15:04") }

// MinuteInZone is Minute with the name of the zone, for paper that travels:
// "2026-03-14 13:00 CET".
func MinuteInZone(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04 MST")
}

// Clock writes the time of day in a zone: "13:00".
func Clock(t time.Time, zone *time.Location) string { return t.In(zone).Format("15:04") }

// Day writes the day of a time in a zone: "2026-03-14".
func Day(t time.Time, zone *time.Location) string { return t.In(zone).Format(time.DateOnly) }

// DayInWords writes a day with its weekday, in the zone it has: "Saturday, 14 March
// 2026".
func DayInWords(day time.Time) string { return day.Format("Monday, 2 January 2006") }

// Pause writes how long nothing happened, in the largest unit of which there are
// two: "90 minutes", "5 hours", "3 days".
func Pause(d time.Duration) string {
	switch {
	case d >= 48*time.Hour:
		return Fixed(d.Hours()/24, 0) + " days"
	case d >= 2*time.Hour:
		return Fixed(d.Hours(), 0) + " hours"
	}
	return Fixed(d.Minutes(), 0) + " minutes"
}

// MinutesWithin writes a time and its standard uncertainty, both told in seconds, in
// minutes: "4.2 ± 0.3 min".
func MinutesWithin(seconds, uncertaintySeconds float64) string {
	return Fixed(seconds/60, 1) + " ± " + Fixed(uncertaintySeconds/60, 1) + " min"
}
