// Command brakewright teaches, asks, watches, signs and proves: training records for brake hydraulics.
// This package holds flags and wiring only; every rule lives in the packages below server.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"brakewright/quiz"

	_ "time/tzdata" // time zones also where the machine has none
)

// Exit statuses of every command.
const (
	exitFine    = 0
	exitFailure = 1 // findings, or it could not be done
	exitUsage   = 2 // the command line itself is wrong
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run carries out one command line. Results go to stdout, everything else to stderr. It returns the exit status.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitFine
	}
	var usage *usageError
	switch {
	case errors.Is(err, errFindings): // already said
		return exitFailure
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "%s: %v\nSee '%s --help'.\n", cmd.CommandPath(), err, cmd.CommandPath())
		return exitUsage
	default:
		fmt.Fprintf(stderr, "%s: %s\n", cmd.CommandPath(), explain(err))
		return exitFailure
	}
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "brakewright",
		Short: "Teach, ask, watch, sign and decide: who may do which brake job alone, and why",
		Long: `Brakewright runs a brake training programme: lessons, theory tests made from them,
watched jobs signed by supervisors, and the standing that follows for every
apprentice and task. A person decides; the program keeps the proof.

Brakes can kill. The maker's service information, local codes and licensed
practice come first.`,
		Example: `  brakewright demo                    a training centre with five months of history
  brakewright init --help             found a real programme
  brakewright lint DIR                check a programme folder`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("there is no command %q", args[0])
			}
			return usagef("say which command")
		},
	}
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &usageError{err} })
	root.AddCommand(
		newInit(), newServe(), newDemo(),
		newLint(), newPreview(), newChanges(), newQuiz(), newMark(),
		newAssess(), newCalibrate(), newSeverity(),
		newVerify(), newBundle(), newRebuild(), newBackup(), newRestore(),
		newPerson(), newVersion(),
	)
	return root
}

// usageError is a command line that is wrong in itself.
type usageError struct{ err error }

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

func usagef(format string, args ...any) error {
	return &usageError{fmt.Errorf(format, args...)}
}

// errFindings ends a command that has printed its findings: exit status 1 and nothing more to say.
var errFindings = errors.New("findings")

// exactly refuses any other number of arguments than n; what says what they are.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) == n:
			return nil
		case n == 0:
			return usagef("%q is one argument too many: this command takes flags only", args[0])
		case len(args) < n:
			return usagef("say %s", what)
		default:
			return usagef("%q is one argument too many: %s is all it takes", args[n], what)
		}
	}
}

// needed refuses a command line that lacks one of these flags.
func needed(cmd *cobra.Command, flags ...string) error {
	var missing []string
	for _, name := range flags {
		if f := cmd.Flags().Lookup(name); f.Value.String() == "" || f.Value.String() == "[]" {
			missing = append(missing, "--"+name)
		}
	}
	if len(missing) > 0 {
		return usagef("%s missing", strings.Join(missing, ", "))
	}
	return nil
}

// formatFlag adds --format with its allowed values, the first of which is the default.
func formatFlag(cmd *cobra.Command, format *string, allowed ...string) {
	cmd.Flags().Var(&oneOf{value: format, allowed: allowed}, "format", "how to print: "+strings.Join(allowed, ", "))
	*format = allowed[0]
	cmd.Flags().Lookup("format").DefValue = allowed[0]
}

// oneOf is a flag value out of a few.
type oneOf struct {
	value   *string
	allowed []string
}

func (o *oneOf) String() string { return *o.value }
func (o *oneOf) Type() string   { return strings.Join(o.allowed, "|") }
func (o *oneOf) Set(s string) error {
	for _, a := range o.allowed {
		if s == a {
			*o.value = s
			return nil
		}
	}
	return fmt.Errorf("it must be one of %s", strings.Join(o.allowed, ", "))
}

// version is set by the linker (Makefile); else the module's own version or the commit it was built from.
var version = ""

// programVersion names this build; it is frozen into clearances.
func programVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, dirty := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 12:
			revision = s.Value[:12]
		case s.Key == "vcs.modified" && s.Value == "true":
			dirty = "+changed"
		}
	}
	switch {
	case revision != "":
		return revision + dirty
	case info.Main.Version != "" && info.Main.Version != "(devel)":
		return info.Main.Version
	default:
		return "development"
	}
}

func newVersion() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:     "version",
		Short:   "Print the version of the program and of its question generator",
		Example: "  brakewright version\n  brakewright version --format json",
		Args:    exactly(0, ""),
	}
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return printVersion(cmd.OutOrStdout(), format) }
	return cmd
}

func printVersion(w io.Writer, format string) error {
	if format == "json" {
		return writeJSON(w, map[string]string{"version": programVersion(), "generator": quiz.Generator})
	}
	_, err := fmt.Fprintf(w, "brakewright %s\n%s\n", programVersion(), quiz.Generator)
	return err
}
