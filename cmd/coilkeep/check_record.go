package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"coilkeep/driver"
	"coilkeep/driver/transcript"
	"coilkeep/internal/config"
)

// checkRecorded is checkInstruments with a transcript in the new file path; none
// when that is empty. It says on the standard error what is in the file.
func checkRecorded(ctx context.Context, env *environment, cfg config.Config, path string) (found []checked, err error) {
	if path == "" {
		return checkInstruments(ctx, cfg, nil), nil
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%s exists already and is not overwritten: give --record the name of a new file", path)
	}
	if err != nil {
		return nil, fmt.Errorf("record the check: %w", err)
	}
	recorder := transcript.NewRecorder(file, transcript.Header{Time: env.now().UTC(), Program: "coilkeep " + version()})
	found = checkInstruments(ctx, cfg, recorder)
	if err := errors.Join(recorder.Err(), file.Close()); err != nil {
		return nil, fmt.Errorf("record the check in %s, which is not whole: %w", path, err)
	}
	text := fmt.Sprintf("%s: %d lines of text, with every byte that was sent and received, its time, and the settings\n"+
		"of ports and drivers. No port, bench or person is named; an instrument that tells its serial number\n"+
		"tells it there. Read it through, and write make and model into \"note\" in its first line.\n", path, recorder.Lines())
	if ctx.Err() != nil {
		text += "It is whole up to where the check was interrupted.\n"
	}
	_, err = fmt.Fprint(env.stderr, text)
	return found, err
}

// watch is put around each port that is opened: what is heard is kept for people,
// but of a line with several instruments, and everything is recorded.
func (s *subject) watch(conn driver.Conn, shared bool) driver.Conn {
	if !shared {
		conn = s.heard.listen(conn)
	}
	in := s.opener.in
	opened := transcript.Opened{Line: "serial", Baud: in.Baud, Frame: in.Frame}
	if kind, _, ok := strings.Cut(in.Port, ":"); ok && (kind == "usb" || kind == "tcp") {
		opened.Line = kind
	}
	if opened.Line == "tcp" {
		opened.Baud, opened.Frame = 0, ""
	}
	if !s.unattended {
		opened.Driver, opened.Quantity, opened.Options = in.Driver, s.opener.quantity, in.Options
		opened.TimeoutSeconds = in.Timeout.Seconds()
	}
	conn, s.connection = s.recorder.Watch(conn, opened)
	return conn
}
