package history

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"coilkeep/internal/record"
)

var kills = flag.Int("kills", 60, "how many writing processes TestKill kills")

// writerFile, in the environment, makes TestWriter the process that is killed.
const (
	writerFile = "COILKEEP_TEST_WRITER_FILE"
	writerFrom = "COILKEEP_TEST_WRITER_FROM"
)

// numbered is the n-th measurement of a writer, the same in every process.
func numbered(t testing.TB, n int) (record.Measurement, []record.Reading) {
	t.Helper()
	m, readings := sample(t, fmt.Sprintf("HN-%06d", n), 6690+float64(n%7), firstInstant.Add(time.Duration(n)*time.Second))
	m.ID = fmt.Sprintf("measurement-%06d", n)
	return m, readings
}

// TestWriter records measurements until it is killed and prints the number of
// each one after Record has returned.
func TestWriter(t *testing.T) {
	path := os.Getenv(writerFile)
	if path == "" {
		t.Skip("this is the process that TestKill kills")
	}
	from, err := strconv.Atoi(os.Getenv(writerFrom))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Own(); err != nil {
		t.Fatal(err)
	}
	_, err = s.AddDesign(t.Context(), wren(), "ada")
	if err == nil || errors.Is(err, record.ErrDuplicate) {
		_, err = s.OpenBatch(t.Context(), record.BatchStart{Name: "B-1", Bench: "north", Design: "wren"})
	}
	if err != nil && !errors.Is(err, record.ErrConflict) {
		t.Fatal(err)
	}
	const more = 20000 // ends by itself should nobody kill it
	for n := from; n < from+more; n++ {
		m, readings := numbered(t, n)
		if _, err := s.Record(t.Context(), m, readings); err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Printf("stored %d\n", n); err != nil {
			t.Fatal(err)
		}
	}
}

// No acknowledged measurement is lost or doubled however often the writing
// process is killed; the next one starts with the measurement whose fate is
// unknown, under the same id. (A kill leaves the caches of the system alone: it
// proves the transactions, while the settings that make the disk keep them
// through a power cut are checked by TestSettingsHold.)
func TestKill(t *testing.T) {
	if testing.Short() {
		t.Skip("starts many processes")
	}
	const lanes = 3
	for lane := range lanes {
		t.Run(fmt.Sprintf("lane %d", lane), func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			random := rand.New(rand.NewPCG(uint64(lane), 1))
			var path string
			last, most := 0, 0
			for i := range (*kills + lanes - 1) / lanes {
				if i%5 == 0 { // the making of a file is interrupted, too
					path, last = filepath.Join(folder, fmt.Sprintf("%d.db", i)), 0
				}
				last = killWriter(t, path, last, random)
				checkStored(t, path, last)
				most = max(most, last)
			}
			if most == 0 {
				t.Error("nothing was ever acknowledged: the test proves nothing")
			}
		})
	}
}

// killWriter starts a writer after measurement last, kills it at a random
// moment and returns the last measurement it acknowledged.
func killWriter(t *testing.T, path string, last int, random *rand.Rand) int {
	t.Helper()
	command := exec.Command(os.Args[0], "-test.run=^TestWriter$", "-test.v=false")
	command.Env = append(os.Environ(), writerFile+"="+path, writerFrom+"="+strconv.Itoa(last+1))
	command.Stderr = os.Stderr
	output, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func() {
		if err := command.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Errorf("kill: %v", err)
		}
	}
	// Either while it opens the file, or between the acknowledgements.
	var timer *time.Timer
	afterLines := random.IntN(12) * random.IntN(8)
	if afterLines == 0 {
		timer = time.AfterFunc(time.Duration(random.IntN(60))*time.Millisecond, kill)
	}
	lines := bufio.NewScanner(output)
	for seen := 1; lines.Scan(); seen++ {
		var n int
		if _, err := fmt.Sscanf(lines.Text(), "stored %d", &n); err != nil || n != last+1 {
			t.Errorf("the writer said %q after measurement %d", lines.Text(), last)
			kill()
			continue
		}
		last = n
		if seen == afterLines {
			timer = time.AfterFunc(time.Duration(random.IntN(6000))*time.Microsecond, kill)
		}
	}
	if timer != nil {
		timer.Stop()
	}
	var exit *exec.ExitError
	if err := command.Wait(); !errors.As(err, &exit) || exit.ExitCode() > 0 {
		t.Fatalf("the writer was not killed but ended: %v", err)
	}
	return last
}

// checkStored proves that measurements 1 to last are there, once and whole, at
// most one more, and that the file verifies.
func checkStored(t *testing.T, path string, last int) {
	t.Helper()
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	report := verifies(t, s)
	if report.Measurements != last && report.Measurements != last+1 {
		t.Errorf("%d measurements stored, %d acknowledged", report.Measurements, last)
	}
	if n := count(t, s, `SELECT COUNT(DISTINCT id) FROM measurements WHERE id BETWEEN 'measurement-000001' AND ?1`,
		fmt.Sprintf("measurement-%06d", last)); n != last {
		t.Errorf("%d acknowledged measurements found, want %d", n, last)
	}
	if report.Readings != 11*report.Measurements {
		t.Errorf("%d readings of %d measurements, want 11 each", report.Readings, report.Measurements)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}
