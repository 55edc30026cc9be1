//go:build unix

package port

import (
	"io/fs"
	"strings"
	"testing"
)

func TestAdvice(t *testing.T) {
	t.Parallel()
	const nobodysGroup = 987654 // has no name, so the number stands for it
	tests := []struct {
		name string
		mode fs.FileMode
		gid  uint32
		want string
	}{
		{"the group may", fs.ModeCharDevice | 0o660, nobodysGroup, "usermod -aG 987654"},
		{"the group may only read", 0o640, nobodysGroup, "mode -rw-r----- and group 987654: ask the administrator"},
		{"the administrators' group", 0o660, 0, "ask the administrator"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := advice(tt.mode, tt.gid); !strings.Contains(got, tt.want) {
				t.Errorf("advice = %q, want %q in it", got, tt.want)
			}
		})
	}
}
