package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"runtime"

	"coilkeep/driver/port"
	"coilkeep/internal/config"
	"coilkeep/internal/demo"
	"coilkeep/internal/history"
)

const demoListen = "127.0.0.1:8020"

func runDemo(ctx context.Context, env *environment, args []string) error {
	flags := newFlags("demo",
		"Show what coilkeep is for: an invented workshop with a simulated meter, probe\n"+
			"and winder, over real serial lines and through the same drivers as serve. It\n"+
			"prints the address of the page and runs until interrupted.",
		"demo\ndemo --speed 3\ndemo --data workshop --listen 127.0.0.1:9000")
	s := demo.Settings{Out: env.stdout}
	listen := flags.String("listen", demoListen, "`HOST:PORT` of the pages; another port when it is taken")
	data := flags.String("data", "", "keep the records in this `FOLDER`; otherwise they go when the demo ends")
	flags.Float64Var(&s.Speed, "speed", 1, "how many `TIMES` faster than in life coils are wound and cool, 0.2 to 20")
	flags.Uint64Var(&s.Seed, "seed", demo.UsualSeed, "another `NUMBER` winds other coils")
	flags.IntVar(&s.Coils, "coils", 0, "end after so `MANY` coils; 0 goes on")
	browser := flags.Bool("browser", true, "open the page in a browser where there is a screen")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if s.Speed < 0.2 || s.Speed > 20 {
		return flags.wrong("--speed %g: choose 0.2 to 20", s.Speed)
	}
	if s.Coils < 0 {
		return flags.wrong("--coils %d: choose 0 or more", s.Coils)
	}
	var remove func() error
	var err error
	if s.Folder, remove, err = demoFolder(*data); err != nil {
		return err
	}
	err = showDemo(ctx, env, s, freeAddress(*listen, flags.Changed("listen")), *browser && isTerminal(env.stdout))
	return errors.Join(err, remove())
}

// demoFolder makes the folder of the records and says how to be rid of it.
func demoFolder(data string) (folder string, remove func() error, err error) {
	if data != "" {
		if err := os.MkdirAll(data, 0o755); err != nil {
			return "", nil, fmt.Errorf("make the folder of the demo: %w", err)
		}
		return data, func() error { return nil }, nil
	}
	folder, err = os.MkdirTemp("", "coilkeep-demo-")
	if err != nil {
		return "", nil, fmt.Errorf("make the folder of the demo: %w", err)
	}
	return folder, func() error { return os.RemoveAll(folder) }, nil
}

// freeAddress gives another port when the usual one is taken, unless it was
// asked for.
func freeAddress(listen string, asked bool) string {
	if asked {
		return listen
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return "127.0.0.1:0"
	}
	l.Close()
	return listen
}

// showDemo serves the invented workshop until ctx ends or it has wound the coils
// it was told to.
func showDemo(ctx context.Context, env *environment, s demo.Settings, listen string, browser bool) (err error) {
	shop, err := demo.Open(s)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, shop.Close()) }()
	cfg, err := shop.Config(listen)
	if err != nil {
		return err
	}
	wound, err := fillDemo(ctx, cfg, demo.NewPast(s.Seed, demo.UsuallyWound, env.now()))
	if err != nil {
		return err
	}
	shop.Wound(wound)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	log := slog.New(slog.NewTextHandler(env.stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	return serve(ctx, cfg, log, func(ctx context.Context, r running) error {
		fmt.Fprintf(env.stdout, "%s\nThe page: %s\nCtrl-C ends the demo.\n\n", shop.Describe(), r.url)
		if browser {
			openBrowser(r.url)
		}
		if err := shop.Run(ctx, r.benches[0], r.hub); err != nil {
			return err
		}
		if s.Coils > 0 {
			cancel()
		}
		return nil
	})
}

// fillDemo writes the past of the workshop into its history, by the rules of
// its bench, and returns how many coils of the open batch are wound.
func fillDemo(ctx context.Context, cfg config.Config, past *demo.Past) (wound int, err error) {
	store, err := history.Open(ctx, cfg.History.Path, history.Options{Now: past.Now})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	return past.Fill(ctx, store, assembleBench(cfg.Benches[0], &port.Pool{}).Capture)
}

// isTerminal is true when a person looks at w.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// openBrowser shows the page where there is a screen. Its address was printed,
// so it does not matter when nothing comes of it.
func openBrowser(url string) {
	var name string
	var args []string
	switch runtime.GOOS {
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	case "darwin":
		name, args = "open", []string{url}
	default:
		if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
			return
		}
		name, args = "xdg-open", []string{url}
	}
	if cmd := exec.Command(name, args...); cmd.Start() == nil {
		go func() { _ = cmd.Wait() }()
	}
}
