package main

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func newChanges() *cobra.Command {
	var o changesOptions
	cmd := &cobra.Command{
		Use:   "changes OLD NEW",
		Short: "Say what changed between two programme editions, what it asks of people, and whom it touches",
		Long: `Changes compares two programme folders, file by file, in the trade's terms: steps added,
removed or reworded, hold points, order, limits and figures, tables. For each change it says
what policy asks of those whom it touches: nothing, read and confirm, a new theory test or a
new watched job, at once or within the policy's days of grace.
OLD or NEW may be "embedded", the programme that comes with the program.

With --database, OLD or NEW may also be an edition that was ever adopted there, by its hash or the
beginning of it (8 digits or more), or "in-use". Against the edition in use it says whom each change
touches: clearances, passed theory tests, and jobs done by a figure that is another now, with the
cars. Without --key-file, people and cars go by their ids.

JSON is one object a line: file, code, args, text, rests (LESSON/STEP), weight, ask
(nothing, read, test, job), within_days; with --database and OLD in use also touches.

The exit status is 1 if a folder has errors; these are printed on stderr.`,
		Example: `  brakewright changes embedded my-programme
  brakewright changes --database shop.db in-use my-programme
  brakewright changes --database shop.db 3be436621fd0 in-use --format json`,
		Args: exactly(2, "which editions: the old one, then the new one"),
	}
	formatFlag(cmd, &o.format, "text", "json")
	databaseFlag(cmd, &o.database)
	cmd.Flags().StringVar(&o.keyFile, "key-file", "", "key file, to show names and cars")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return o.run(cmd, args) }
	return cmd
}

type changesOptions struct{ format, database, keyFile string }

// inUse names the edition in use of a database.
const inUse = "in-use"

func (o *changesOptions) run(cmd *cobra.Command, args []string) error {
	ctx := cmd.Context()
	var service *acts.Service
	switch {
	case o.database != "":
		s, err := openStore(ctx, o.database, o.keyFile)
		if err != nil {
			return err
		}
		defer s.Close()
		service = acts.New(s, now, rand.Reader, programVersion())
	case o.keyFile != "":
		return usagef("--key-file needs --database")
	case slices.Contains(args, inUse):
		return usagef("%s needs --database", inUse)
	}
	var both [2]*curriculum.Programme
	for i, name := range args {
		p, err := o.edition(cmd, service, name)
		if err != nil {
			return err
		}
		both[i] = p
	}
	changes := curriculum.Diff(both[0], both[1])
	var touches []acts.Touch
	if service != nil {
		current, err := service.Programme(ctx)
		if err != nil {
			return err
		}
		if current.Edition != both[0].Edition {
			fmt.Fprintf(cmd.ErrOrStderr(), "%s is not in use, so nobody is said to be touched.\n", args[0])
		} else if touches, err = service.TouchedAll(ctx, &acts.Offer{Programme: both[1], Changes: changes}); err != nil {
			return err
		}
	}
	if o.format == "json" {
		return writeChangesJSON(cmd.OutOrStdout(), changes, touches)
	}
	return writeChanges(cmd.OutOrStdout(), changes, touches)
}

// edition finds what OLD or NEW names. Of a folder that cannot be used it says why.
func (o *changesOptions) edition(cmd *cobra.Command, service *acts.Service, name string) (*curriculum.Programme, error) {
	ctx := cmd.Context()
	if service != nil && name == inUse {
		return service.Programme(ctx)
	}
	if service != nil && len(name) >= 8 && strings.Trim(name, "0123456789abcdef") == "" {
		adopted, err := service.Store.Adoptions(ctx)
		if err != nil {
			return nil, err
		}
		found := ""
		for _, a := range adopted {
			if !strings.HasPrefix(a.Edition, name) || a.Edition == found {
				continue
			}
			if found != "" {
				return nil, failf("Give more digits.", "%s begins more than one edition", name)
			}
			found = a.Edition
		}
		if found == "" {
			return nil, failf("The Programme page lists the editions adopted.", "no edition that begins with %s was ever adopted here", name)
		}
		return service.Edition(ctx, found)
	}
	fsys, err := curriculumFS(name)
	if err != nil {
		return nil, err
	}
	p, problems := curriculum.Load(fsys)
	if p == nil {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s cannot be used:\n", name)
		if err := writeProblems(cmd.ErrOrStderr(), problems); err != nil {
			return nil, err
		}
		return nil, errFindings
	}
	return p, nil
}

// writeChanges prints changes for a person, by file.
func writeChanges(w io.Writer, changes []curriculum.Change, touches []acts.Touch) error {
	if len(changes) == 0 {
		_, err := fmt.Fprintln(w, "Nothing differs.")
		return err
	}
	file := "-"
	for i, c := range changes {
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
		if touches == nil {
			continue
		}
		for _, line := range touchLines(touches[i]) {
			if _, err := fmt.Fprintf(w, "    %s\n", line); err != nil {
				return err
			}
		}
	}
	return nil
}

// touchLines says whom a change touches, a line each.
func touchLines(t acts.Touch) (out []string) {
	for _, c := range t.Clearances {
		out = append(out, "Touches the clearance of "+nameOrID(c.Apprentice)+" for "+c.Task+".")
	}
	for _, c := range t.Tests {
		out = append(out, "Touches the theory test of "+nameOrID(c.Apprentice)+" for "+c.Task+".")
	}
	for _, j := range t.Jobs {
		line := "Touches the job of " + j.Date + " by " + nameOrID(j.Apprentice) + " for " + j.Task
		if car := cmp.Or(j.Vehicle, j.Car); car != "" {
			line += " on " + car
		}
		if j.WorkOrder != "" {
			line += ", " + j.WorkOrder
		}
		if len(j.Readings) > 0 {
			line += ", read " + strings.Join(j.Readings, ", ")
		}
		out = append(out, line+" (entry "+j.Entry+").")
	}
	return out
}

func nameOrID(p *store.Person) string { return cmp.Or(p.Name, p.ID) }

// changedLine is one change as `changes --format json` prints it.
type changedLine struct {
	File    string            `json:"file"`
	Code    string            `json:"code"`
	Args    map[string]string `json:"args"`
	Text    string            `json:"text"`
	Rests   []string          `json:"rests"`
	Weight  string            `json:"weight"`
	Ask     curriculum.Ask    `json:"ask"`
	Within  int               `json:"within_days"`
	Touches *touchedLine      `json:"touches,omitempty"`
}

// touchedLine is whom a change touches.
type touchedLine struct {
	Clearances []touchedPerson `json:"clearances"`
	Tests      []touchedPerson `json:"tests"`
	Jobs       []touchedJob    `json:"jobs"`
}

type touchedPerson struct {
	Person string `json:"person"`
	Name   string `json:"name,omitempty"`
	Task   string `json:"task"`
}

type touchedJob struct {
	Entry string `json:"entry"`
	touchedPerson
	Date      string   `json:"date"`
	Vehicle   string   `json:"vehicle,omitempty"`
	Car       string   `json:"car,omitempty"`
	WorkOrder string   `json:"work_order,omitempty"`
	Readings  []string `json:"readings"`
}

func newTouchedLine(t acts.Touch) *touchedLine {
	out := &touchedLine{[]touchedPerson{}, []touchedPerson{}, []touchedJob{}}
	for _, c := range t.Clearances {
		out.Clearances = append(out.Clearances, touchedPerson{c.Apprentice.ID, c.Apprentice.Name, c.Task})
	}
	for _, c := range t.Tests {
		out.Tests = append(out.Tests, touchedPerson{c.Apprentice.ID, c.Apprentice.Name, c.Task})
	}
	for _, j := range t.Jobs {
		out.Jobs = append(out.Jobs, touchedJob{j.Entry, touchedPerson{j.Apprentice.ID, j.Apprentice.Name, j.Task}, j.Date, j.Vehicle, j.Car, j.WorkOrder,
			append([]string{}, j.Readings...)})
	}
	return out
}

func writeChangesJSON(w io.Writer, changes []curriculum.Change, touches []acts.Touch) error {
	for i, c := range changes {
		line := changedLine{File: c.File, Code: c.Code, Args: c.Args, Text: say.Change(c), Rests: append([]string{}, c.Rests...), Weight: c.Weight, Ask: c.Ask, Within: c.Within}
		if touches != nil {
			line.Touches = newTouchedLine(touches[i])
		}
		if err := writeLine(w, line); err != nil {
			return err
		}
	}
	return nil
}
