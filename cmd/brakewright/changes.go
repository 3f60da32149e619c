package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"brakewright/curriculum"
	"brakewright/server/say"
)

func newChanges() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:   "changes OLD NEW",
		Short: "Say what changed between two programme folders, and what it asks of people",
		Long: `Changes compares two programme folders, file by file, in the trade's terms: steps added,
removed or reworded, hold points, order, limits and figures, tables. For each change it says
what policy asks of those whom it touches: nothing, read and confirm, a new theory test or a
new watched job, at once or within the policy's days of grace.
OLD or NEW may be "embedded", the programme that comes with the program.

JSON is one object a line: file, code, args, text, rests (LESSON/STEP), weight, ask
(nothing, read, test, job), within_days.

The exit status is 1 if a folder has errors; these are printed on stderr.`,
		Example: `  brakewright changes embedded my-programme
  brakewright changes last-year my-programme --format json`,
		Args: exactly(2, "which folders: the old one, then the new one"),
	}
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		var both [2]*curriculum.Programme
		for i, dir := range args {
			fsys, err := curriculumFS(dir)
			if err != nil {
				return err
			}
			p, problems := curriculum.Load(fsys)
			if p == nil {
				fmt.Fprintf(cmd.ErrOrStderr(), "%s cannot be used:\n", dir)
				if err := writeProblems(cmd.ErrOrStderr(), problems); err != nil {
					return err
				}
				return errFindings
			}
			both[i] = p
		}
		changes := curriculum.Diff(both[0], both[1])
		if format == "json" {
			return writeChangesJSON(cmd.OutOrStdout(), changes)
		}
		return writeChanges(cmd.OutOrStdout(), changes)
	}
	return cmd
}

// writeChanges prints changes for a person, by file.
func writeChanges(w io.Writer, changes []curriculum.Change) error {
	if len(changes) == 0 {
		_, err := fmt.Fprintln(w, "Nothing differs.")
		return err
	}
	file := "-"
	for _, c := range changes {
		if c.File != file {
			file = c.File
			name := file
			if name == "" {
				name = "The whole folder"
			}
			if _, err := fmt.Fprintln(w, name); err != nil {
				return err
			}
		}
		if _, err := fmt.Fprintf(w, "  %s\n    %s\n", say.Change(c), say.Ask(c)); err != nil {
			return err
		}
	}
	return nil
}

// changedLine is one change as `changes --format json` prints it.
type changedLine struct {
	File   string            `json:"file"`
	Code   string            `json:"code"`
	Args   map[string]string `json:"args"`
	Text   string            `json:"text"`
	Rests  []string          `json:"rests"`
	Weight string            `json:"weight"`
	Ask    curriculum.Ask    `json:"ask"`
	Within int               `json:"within_days"`
}

func writeChangesJSON(w io.Writer, changes []curriculum.Change) error {
	for _, c := range changes {
		if err := writeLine(w, changedLine{c.File, c.Code, c.Args, say.Change(c), append([]string{}, c.Rests...), c.Weight, c.Ask, c.Within}); err != nil {
			return err
		}
	}
	return nil
}
