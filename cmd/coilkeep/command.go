package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/pflag"

	"coilkeep/internal/nearest"
)

// command is one word of the command line. It does something itself, or leads
// to the commands in its groups.
type command struct {
	name    string
	summary string // one sentence, with its full stop
	// run does the command, given the words after its name.
	run func(ctx context.Context, env *environment, args []string) error
}

// group is commands that belong together under a title in the help.
type group struct {
	title    string
	commands []command
}

// menu is the commands behind one name, "coilkeep" or "coilkeep batch".
type menu struct {
	path     string
	summary  string
	groups   []group
	examples string
}

// usageError is a command line that cannot be understood.
type usageError struct {
	message string // what is wrong
	next    string // what to try; empty for the help of the command at fault
}

func (e *usageError) Error() string { return e.message }

// errHelpShown ends a command that was asked for its help only.
var errHelpShown = errors.New("help shown")

// run finds the command that the first of args names and runs it with the
// rest. "help NAME" is the same as "NAME --help".
func (m menu) run(ctx context.Context, env *environment, args []string) error {
	if len(args) == 0 {
		return &usageError{"which command? " + m.path + " alone does nothing", seeHelp(m.path)}
	}
	word, rest := args[0], args[1:]
	switch {
	case word == "--help" || word == "-h" || word == "help" && len(rest) == 0:
		return m.help(env)
	case word == "help":
		return m.run(ctx, env, append(rest[:len(rest):len(rest)], "--help"))
	}
	var names []string
	for _, g := range m.groups {
		for _, c := range g.commands {
			if c.name == word {
				err := c.run(ctx, env, rest)
				var usage *usageError
				if errors.As(err, &usage) && usage.next == "" {
					usage.next = seeHelp(m.path + " " + c.name)
				}
				return err
			}
			names = append(names, c.name)
		}
	}
	return &usageError{fmt.Sprintf("%s has no command %q%s", m.path, word, didYouMean(word, names)), seeHelp(m.path)}
}

func (m menu) help(env *environment) error {
	out := tabwriter.NewWriter(env.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(out, "%s\n\nUsage:\n  %s COMMAND [flags]\n", m.summary, m.path)
	for _, g := range m.groups {
		fmt.Fprintf(out, "\n%s:\n", g.title)
		for _, c := range g.commands {
			fmt.Fprintf(out, "  %s\t%s\n", c.name, c.summary)
		}
	}
	fmt.Fprintf(out, "\nExamples:\n%s\n\n\"%s COMMAND --help\" says more about one.\n", indent(m.examples), m.path)
	if err := out.Flush(); err != nil {
		return err
	}
	return errHelpShown
}

// as makes the menu a command of a menu above it.
func (m menu) as(name string) command { return command{name, m.summary, m.run} }

// flagSet is the flags and operands of one command, with its help.
type flagSet struct {
	*pflag.FlagSet
	usage    string // "normalize OHMS --at CELSIUS"
	about    string // what it does, in sentences
	examples string // one a line
}

// newFlags begins the command line of one command. usage is its name and
// operands, about a sentence or more, examples command lines, one a line,
// without the word coilkeep.
func newFlags(usage, about, examples string) *flagSet {
	f := &flagSet{FlagSet: pflag.NewFlagSet(usage, pflag.ContinueOnError), usage: usage, about: about, examples: examples}
	f.SortFlags = false
	f.Usage = func() {}
	return f
}

// parse reads args, shows the help when it is asked for, and sees that there
// are from least to most operands.
func (f *flagSet) parse(env *environment, args []string, least, most int) error {
	f.BoolP("help", "h", false, "show this help")
	err := f.FlagSet.Parse(args)
	// Asking for help wins over anything else that may be wrong.
	if help, _ := f.GetBool("help"); help || errors.Is(err, pflag.ErrHelp) {
		return f.help(env)
	}
	if err != nil {
		return f.wrong("%s", f.explain(err))
	}
	switch {
	case f.NArg() < least:
		return f.wrong("something is missing; write coilkeep %s", f.usage)
	case f.NArg() > most:
		return f.wrong("%q is one word too many; write coilkeep %s", f.Arg(most), f.usage)
	}
	return nil
}

// explain says what pflag did not like, with the flag that was probably meant.
func (f *flagSet) explain(err error) string {
	var unknown *pflag.NotExistError
	var noValue *pflag.ValueRequiredError
	var badValue *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown):
		var names []string
		f.VisitAll(func(flag *pflag.Flag) { names = append(names, "--"+flag.Name) })
		name := "--" + unknown.GetSpecifiedName()
		if short := unknown.GetSpecifiedShortnames(); short != "" {
			name = "-" + short
		}
		return fmt.Sprintf("there is no flag %s%s", name, didYouMean(name, names))
	case errors.As(err, &noValue):
		return fmt.Sprintf("--%s needs a value after it", noValue.GetFlag().Name)
	case errors.As(err, &badValue):
		return fmt.Sprintf("%q will not do for --%s, which wants a %s", badValue.GetValue(), badValue.GetFlag().Name, kindOf(badValue.GetFlag()))
	default:
		return err.Error()
	}
}

// kindOf names the type of a flag's value for people.
func kindOf(flag *pflag.Flag) string {
	switch flag.Value.Type() {
	case "int":
		return "whole number"
	case "float64":
		return "number"
	case "bool":
		return "true or false"
	default:
		return flag.Value.Type()
	}
}

// wrong is a usageError about this command.
func (f *flagSet) wrong(format string, args ...any) error {
	return &usageError{message: fmt.Sprintf(format, args...)}
}

func (f *flagSet) help(env *environment) error {
	fmt.Fprintf(env.stdout, "%s\n\nUsage:\n  coilkeep %s [flags]\n\nExamples:\n", f.about, f.usage)
	for line := range strings.Lines(f.examples) {
		fmt.Fprintf(env.stdout, "  coilkeep %s\n", strings.TrimSpace(line))
	}
	fmt.Fprint(env.stdout, "\nFlags:\n")
	f.VisitAll(func(flag *pflag.Flag) { fmt.Fprint(env.stdout, flagHelp(flag)) })
	return errHelpShown
}

// flagHelp is the help of one flag: its name and value on a line, what it does
// on the next, so that both fit a narrow terminal.
func flagHelp(flag *pflag.Flag) string {
	value, about := pflag.UnquoteUsage(flag)
	name := "--" + flag.Name
	if flag.Shorthand != "" {
		name = "-" + flag.Shorthand + ", " + name
	}
	if flag.Value.Type() != "bool" {
		name += " " + value
		if flag.DefValue != "" && flag.DefValue != "0" {
			about += " (default " + flag.DefValue + ")"
		}
	}
	return fmt.Sprintf("  %s\n      %s\n", name, about)
}

func indent(lines string) string {
	return "  " + strings.ReplaceAll(strings.TrimSpace(lines), "\n", "\n  ")
}

func seeHelp(path string) string { return fmt.Sprintf("Try: %s --help", path) }

// didYouMean offers the known word nearest to word, or nothing.
func didYouMean(word string, known []string) string {
	if near, ok := nearest.Word(word, known); ok {
		return fmt.Sprintf("; did you mean %s?", near)
	}
	return ""
}
