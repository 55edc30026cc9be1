package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"coilkeep/internal/config"
	"coilkeep/internal/web"
)

func runConfig(_ context.Context, env *environment, args []string) error {
	flags := newFlags("config [FILE]",
		"Print a complete commented configuration to start from. With a FILE, check it\n"+
			"and print what is in force, every default spelled out; no port is opened.",
		"config > coilkeep.toml\nconfig coilkeep.toml")
	if err := flags.parse(env, args, 0, 1); err != nil {
		return err
	}
	if flags.NArg() == 0 {
		_, err := io.WriteString(env.stdout, config.Reference)
		return err
	}
	cfg, err := config.Load(flags.Arg(0))
	if err != nil {
		return err
	}
	return config.Print(env.stdout, cfg)
}

func runPassword(_ context.Context, env *environment, args []string) error {
	flags := newFlags("password",
		"Read a password from the standard input, one line of 8 characters at least, and\n"+
			"print the hash that belongs in the file web.password_file names. The line shows\nwhile you type it.",
		"password > password.hash\npassword < secret.txt > password.hash")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	line, err := bufio.NewReader(io.LimitReader(env.stdin, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read the password: %w", err)
	}
	hash, err := web.HashPassword(strings.TrimRight(line, "\r\n"))
	if err != nil {
		return fmt.Errorf("no hash: %w", err)
	}
	_, err = fmt.Fprintln(env.stdout, hash)
	return err
}
