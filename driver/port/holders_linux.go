package port

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// holders names the programs that have the device open, as far as this user
// may see: /proc shows the files of other users only to the administrator.
func holders(device string) []string {
	links, err := filepath.Glob("/proc/[0-9]*/fd/*")
	if err != nil {
		return nil // only a malformed pattern
	}
	var names []string
	seen := map[string]bool{}
	for _, link := range links {
		process := strings.Split(link, "/")[2]
		// A process may end, or forbid the look, between the lines.
		if file, err := os.Readlink(link); err != nil || file != device || seen[process] {
			continue
		}
		seen[process] = true
		names = append(names, describe(process))
	}
	return names
}

// describe gives a process as people know it.
func describe(process string) string {
	if process == strconv.Itoa(os.Getpid()) {
		return "this program"
	}
	name, err := os.ReadFile("/proc/" + process + "/comm")
	if err != nil {
		return "process " + process
	}
	return fmt.Sprintf("%s (process %s)", strings.TrimSpace(string(name)), process)
}
