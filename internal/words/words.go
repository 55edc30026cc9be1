// Package words writes values as people read them, on pages, on paper and in the
// terminal: ohms, percent, temperatures, times, verdicts, lists. Each rule of
// writing stands here once. It takes plain values and gives text, and knows no
// records, no clock and no place to write to.
//
// Numbers have the true minus sign, U+2212, and nothing that is shown as zero has
// one. Text that programs read, such as CSV and JSON, has Plain and
// TimestampUTC. The sentences of package drift are stored and compared to the
// letter, so they keep the hyphen until they are shown: Minus sets it then.
//
// The script of the pages writes live readings the same way, in numbers.js and
// times.js. testdata/words.json holds both to the same texts.
package words
