package main

import (
	"bytes"
	"fmt"
	"strconv"

	"coilkeep/driver"
	"coilkeep/driver/transcript"
)

// heard keeps the first bytes that arrive from an instrument, for people and
// for the advice. The drivers see the same bytes.
type heard struct{ bytes []byte }

// mostHeard bounds what is kept of an instrument.
const mostHeard = 8 << 10

// listen is put around a connection.
func (h *heard) listen(conn driver.Conn) driver.Conn { return &listener{Conn: conn, heard: h} }

type listener struct {
	driver.Conn
	heard *heard
}

func (l *listener) Read(p []byte) (int, error) {
	n, err := l.Conn.Read(p)
	l.heard.keep(p[:n])
	return n, err
}

// Discard takes what waits before it is dropped: that is often all a silent
// instrument says.
func (l *listener) Discard() int {
	waiting, more := transcript.Drain(l.Conn)
	l.heard.keep(waiting)
	return len(waiting) + more
}

func (h *heard) keep(p []byte) {
	h.bytes = append(h.bytes, p[:min(len(p), mostHeard-len(h.bytes))]...)
}

// lines are the whole lines that were heard: with a line end behind them. The
// first may have lost its beginning.
func (h *heard) lines() [][]byte {
	var whole [][]byte
	pieces := bytes.FieldsFunc(h.bytes, func(r rune) bool { return r == '\r' || r == '\n' })
	if n := len(pieces); n > 0 && !bytes.HasSuffix(h.bytes, []byte("\n")) && !bytes.HasSuffix(h.bytes, []byte("\r")) {
		pieces = pieces[:n-1]
	}
	for _, p := range pieces {
		if len(bytes.TrimSpace(p)) > 0 {
			whole = append(whole, p)
		}
	}
	return whole
}

const (
	mostShown = 6  // lines
	longShown = 80 // bytes of each
)

// shown are the lines that were heard last, or the bytes when there was no line
// end, each as a Go string literal.
func (h *heard) shown() []string {
	whole := h.lines()
	if len(whole) == 0 {
		if len(h.bytes) == 0 {
			return nil
		}
		return []string{quoted(h.bytes)}
	}
	var texts []string
	for _, line := range whole[max(0, len(whole)-mostShown):] {
		texts = append(texts, quoted(line))
	}
	return texts
}

func quoted(line []byte) string {
	if len(line) > longShown {
		return fmt.Sprintf("%s and %d bytes more", strconv.Quote(string(line[:longShown])), len(line)-longShown)
	}
	return strconv.Quote(string(line))
}
