package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
)

func newLint() *cobra.Command {
	var format string
	var strict, yield bool
	cmd := &cobra.Command{
		Use:   "lint DIR",
		Short: "Check a programme folder: every error and warning with file, line and cure",
		Long: `Lint reads a programme folder and says everything that is wrong with it at once.
DIR may be "embedded", the programme that comes with the program.

JSON is one object a line: file (relative to DIR), line, column (characters, from 1),
severity (error or warning), code, message, cause, cure.

The exit status is 1 if there are errors, with --strict also if there are warnings.`,
		Example: `  brakewright lint my-programme
  brakewright lint my-programme --strict --format json
  brakewright lint my-programme --format sarif > lint.sarif
  brakewright lint my-programme --yield      which questions each lesson gives`,
		Args: exactly(1, "which folder"),
	}
	cmd.Flags().BoolVar(&strict, "strict", false, "let warnings fail too")
	cmd.Flags().BoolVar(&yield, "yield", false, "also say how many questions each lesson gives, by family")
	formatFlag(cmd, &format, "text", "json", "sarif")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if yield && format == "sarif" {
			return usagef("--yield has no place in sarif: use text or json")
		}
		fsys, err := curriculumFS(args[0])
		if err != nil {
			return err
		}
		p, problems := acts.LoadProgramme(fsys)
		out := cmd.OutOrStdout()
		switch format {
		case "json":
			err = writeProblemsJSON(out, problems)
		case "sarif":
			err = writeSARIF(out, problems)
		default:
			err = writeProblems(out, problems)
		}
		if err == nil && yield && p != nil {
			err = writeYield(out, p, format)
		}
		if err != nil {
			return err
		}
		if format == "text" && p != nil {
			fmt.Fprintf(out, "%s: %s\n", p.Title, contents(p))
		}
		errors, warnings := countProblems(problems)
		fmt.Fprintf(cmd.ErrOrStderr(), "%s, %s\n", count(errors, "error"), count(warnings, "warning"))
		if errors > 0 || strict && warnings > 0 {
			return errFindings
		}
		return nil
	}
	return cmd
}

// contents says what a programme holds.
func contents(p *curriculum.Programme) string {
	return fmt.Sprintf("%s, %s, %s, edition %.12s", count(len(p.Lessons), "lesson"),
		count(len(p.Vehicles), "vehicle sheet"), count(len(p.Tasks), "task"), p.Edition)
}

// count is a number with its noun: "1 error", "2 errors".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func countProblems(problems []curriculum.Problem) (errors, warnings int) {
	for _, p := range problems {
		if p.Severity == curriculum.Error {
			errors++
		} else {
			warnings++
		}
	}
	return errors, warnings
}

// problemLine is one problem as `lint --format json` prints it.
type problemLine struct {
	File     string              `json:"file"`
	Line     int                 `json:"line"`
	Column   int                 `json:"column"`
	Severity curriculum.Severity `json:"severity"`
	Code     string              `json:"code"`
	Message  string              `json:"message"`
	Cause    string              `json:"cause"`
	Cure     string              `json:"cure"`
}

func problemLines(problems []curriculum.Problem) []problemLine {
	lines := make([]problemLine, len(problems))
	for i, p := range problems {
		message, cause, mend := say.Problem(p)
		lines[i] = problemLine{p.File, p.Line, p.Column, p.Severity, p.Code, message, cause, mend}
	}
	return lines
}

// writeProblems prints problems for a person. lint, init and quiz all use it, so the words are the same.
func writeProblems(w io.Writer, problems []curriculum.Problem) error {
	for _, l := range problemLines(problems) {
		if _, err := fmt.Fprintf(w, "%s:%d:%d: %s: %s\n  Cause: %s\n  Cure:  %s\n",
			l.File, l.Line, l.Column, l.Severity, l.Message, l.Cause, l.Cure); err != nil {
			return err
		}
	}
	return nil
}

func writeProblemsJSON(w io.Writer, problems []curriculum.Problem) error {
	for _, l := range problemLines(problems) {
		if err := writeLine(w, l); err != nil {
			return err
		}
	}
	return nil
}

// writeLine prints a value as one line of JSON.
func writeLine(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
