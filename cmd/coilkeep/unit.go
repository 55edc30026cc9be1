package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/template"

	"coilkeep/internal/config"
)

// stateFolder is where systemd keeps what the service writes; the default
// history path leads there when XDG_DATA_HOME is its parent.
const stateFolder = "/var/lib/coilkeep"

var unitFile = template.Must(template.New("unit").Parse(`# coilkeep at the bench. Save as /etc/systemd/system/coilkeep.service, then:
#   systemctl daemon-reload
#   systemctl enable --now coilkeep
[Unit]
Description=Coil bench: reads meter and probe, keeps every measurement
After=network.target

[Service]
Type=notify
ExecStart={{.Program}} serve --config {{.Config}}
{{- if .User}}
User={{.User}}
{{- else}}
DynamicUser=yes
{{- end}}
# The group that may use serial ports; another name on some systems.
SupplementaryGroups=dialout
# The records go to ` + stateFolder + ` unless the configuration says otherwise.
StateDirectory=coilkeep
Environment=XDG_DATA_HOME=/var/lib
{{- if .Folder}}
ReadWritePaths={{.Folder}}
{{- end}}
Restart=on-failure
RestartSec=2
TimeoutStopSec=10
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictSUIDSGID=yes
LockPersonality=yes

[Install]
WantedBy=multi-user.target
`))

// unitBlanks is what the unit file is filled in with.
type unitBlanks struct {
	Program, Config string
	User            string // "" for a user made up by systemd
	Folder          string // that holds the history, when not the state folder
}

func runUnit(_ context.Context, env *environment, args []string) error {
	flags := newFlags("unit --config FILE",
		"Print a systemd unit file that runs the daemon with this configuration, after\nchecking the configuration.",
		"unit --config /etc/coilkeep/coilkeep.toml\nunit --config /home/mira/coilkeep.toml --user mira")
	file := flags.String("config", "", "configuration `FILE` the daemon is to use")
	owner := flags.String("user", "", "`NAME` of the user to run as (default: one made up by systemd)")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *file == "" {
		return flags.wrong("which configuration? Say --config FILE")
	}
	cfg, err := config.Load(*file)
	if err != nil {
		return err
	}
	blanks, err := unitBlanksOf(cfg, *file, *owner)
	if err != nil {
		return err
	}
	return unitFile.Execute(env.stdout, blanks)
}

func unitBlanksOf(cfg config.Config, file, owner string) (unitBlanks, error) {
	program, err := os.Executable()
	if err != nil {
		return unitBlanks{}, fmt.Errorf("find where this program lies: %w", err)
	}
	if file, err = filepath.Abs(file); err != nil {
		return unitBlanks{}, fmt.Errorf("find the configuration: %w", err)
	}
	blanks := unitBlanks{Program: commandWord(program), Config: commandWord(file), User: owner}
	// The default path is the service's own, not that of whoever asks here.
	standard, err := config.DefaultHistoryPath()
	folder := filepath.Dir(cfg.History.Path)
	if own := err == nil && cfg.History.Path == standard || folder == stateFolder; own {
		return blanks, nil
	}
	if owner == "" {
		return unitBlanks{}, fmt.Errorf("the history lies in %s, where a user made up by systemd cannot write; "+
			"leave history.path out of the configuration, so that it goes to %s, or name the owner of that folder with --user", folder, stateFolder)
	}
	blanks.Folder = unitWord(folder)
	return blanks, nil
}

// unitWord writes a path so that systemd takes it as one word and expands
// nothing in it: systemd.syntax(7), "Quoting", and systemd.unit(5),
// "Specifiers".
func unitWord(path string) string {
	path = strings.NewReplacer("%", "%%", `\`, `\\`, `"`, `\"`).Replace(path)
	if strings.ContainsAny(path, " \t'\";") {
		return `"` + path + `"`
	}
	return path
}

// commandWord is unitWord for a command line, where systemd expands variables
// too: systemd.service(5), "Command lines".
func commandWord(path string) string { return strings.ReplaceAll(unitWord(path), "$", "$$") }
