package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"brakewright/curriculum"
	"brakewright/quiz"
)

func newQuiz() *cobra.Command {
	var (
		dir, format  string
		listFamilies bool
		request      quiz.Request
		draw         quiz.Draw
	)
	cmd := &cobra.Command{
		Use:   "quiz",
		Short: "Make a form of questions from lessons; the same draw always makes the same form",
		Long: `Quiz makes one form of questions. Text is for reading and printing, with the key behind
the questions; JSON is the form's exact bytes, keys included, as "mark" reads them; qti is a
QTI 3.0 package, a zip with the keys in it, for a learning platform to read in.

The same programme, flags and version give the same bytes on every machine.`,
		Example: `  brakewright quiz --lesson bleed-two-person --seed 7
  brakewright quiz --task caliper --vehicle trainer-a --questions 20
  brakewright quiz --blueprint bleed-theory --seed 7 --number 2 --format json > form.json
  brakewright quiz --task caliper --vehicle trainer-a --format qti > caliper.zip
  brakewright quiz --list-families`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	f.StringVar(&dir, "curriculum", embedded, "programme folder, or \"embedded\"")
	f.StringSliceVar(&request.Lessons, "lesson", nil, "id of a lesson to ask about; may be repeated")
	f.StringVar(&request.Task, "task", "", "id of a task: ask about all its lessons")
	f.StringVar(&request.Blueprint, "blueprint", "", "id of a blueprint: the form of a theory test")
	f.StringVar(&draw.Vehicle, "vehicle", "", "id of a vehicle sheet: ask about this car")
	f.StringSliceVar(&request.Families, "family", nil, "id of a question family to ask from; may be repeated")
	f.StringVar(&draw.Language, "language", "", "language of the questions (default: the programme's first)")
	f.IntVar(&request.Questions, "questions", 10, "how many questions; fewer come where the lessons give fewer")
	f.Uint64Var(&draw.Seed, "seed", 1, "seed of the draw")
	f.IntVar(&draw.Number, "number", 1, "number of the form under this seed, from 1")
	f.BoolVar(&listFamilies, "list-families", false, "list the question families and stop")
	formatFlag(cmd, &format, "text", "json", "qti")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		out := cmd.OutOrStdout()
		switch file, isFile := out.(*os.File); {
		case format == "qti" && listFamilies:
			return usagef("--list-families prints text or json")
		case format == "qti" && isFile && term.IsTerminal(int(file.Fd())):
			return usagef("a QTI package is a zip: send it to a file, as in \"--format qti > form.zip\"")
		}
		if listFamilies {
			return writeFamilies(out, format)
		}
		switch {
		case request.Questions < 1:
			return usagef("--questions must be 1 or more")
		case draw.Number < 1:
			return usagef("--number must be 1 or more")
		}
		fsys, err := curriculumFS(dir)
		if err != nil {
			return err
		}
		p, problems := curriculum.Load(fsys)
		if p == nil {
			if err := writeProblems(cmd.ErrOrStderr(), problems); err != nil {
				return err
			}
			return failf("Mend the folder first.", "%s has errors", dir)
		}
		if draw.Language == "" {
			draw.Language = p.Languages[0]
		}
		form, err := quiz.Generate(p, request, draw)
		if err != nil {
			return err
		}
		wanted := request.Questions
		if b := p.Blueprint(request.Blueprint); b != nil {
			// The blueprint is the form of a test; what would narrow it further does not change it.
			wanted = b.Questions
			for _, flag := range []string{"task", "lesson", "family", "questions"} {
				if cmd.Flags().Changed(flag) {
					fmt.Fprintf(cmd.ErrOrStderr(), "--%s has no effect: the blueprint %s says what is asked\n", flag, b.ID)
				}
			}
		}
		if len(form.Questions) < wanted {
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: the lessons give no more for this request\n", count(len(form.Questions), "question"))
		}
		switch format {
		case "json":
			_, err = out.Write(form.JSON())
			return err
		case "qti":
			b, err := quiz.QTI(form, p)
			if err != nil {
				return err
			}
			_, err = out.Write(b)
			return err
		}
		return writeForm(out, p, form)
	}
	return cmd
}

func writeFamilies(w io.Writer, format string) error {
	if format == "json" {
		return writeJSON(w, quiz.Families())
	}
	for _, f := range quiz.Families() {
		kinds := make([]string, len(f.Kinds))
		for i, k := range f.Kinds {
			kinds[i] = string(k)
		}
		if _, err := fmt.Fprintf(w, "%s\n  %s\n  From: %s. Kinds: %s.\n", f.ID, f.Asks, f.Source, strings.Join(kinds, ", ")); err != nil {
			return err
		}
	}
	return nil
}

// writeForm prints a form for a person: the questions first, the key behind them.
func writeForm(w io.Writer, p *curriculum.Programme, f *quiz.Form) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nSeed %d, number %d, edition %.12s", p.Title, f.Seed, f.Number, f.ProgrammeEdition)
	if f.Vehicle != nil {
		if v := p.Vehicle(*f.Vehicle); v != nil {
			fmt.Fprintf(&b, ", %s", v.Title)
		}
	}
	b.WriteString("\nThe maker's service information, local codes and licensed practice come first.\n")
	for i, q := range f.Questions {
		fmt.Fprintf(&b, "\n%d. %s\n", i+1, q.Stem)
		if q.Picture != nil {
			fmt.Fprintf(&b, "   (picture: %s)\n", q.Picture.Path)
		}
		fmt.Fprintf(&b, "   %s\n", kindAsks[q.Kind])
		for j, o := range q.Options {
			fmt.Fprintf(&b, "   %s) %s\n", letter(j), o.Text)
		}
		for j, o := range q.Targets {
			fmt.Fprintf(&b, "   → %d) %s\n", j+1, o.Text)
		}
	}
	b.WriteString("\nKey\n")
	for i, q := range f.Questions {
		critical := ""
		if q.Critical {
			critical = " (critical)"
		}
		fmt.Fprintf(&b, "%d. %s%s\n   %s\n   From %s line %d, %s.\n", i+1, keyWords(q), critical, q.Explanation, q.Source.File, q.Source.Line, q.Source.Element)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// kindAsks tells how a question of a kind is answered.
var kindAsks = map[quiz.Kind]string{
	quiz.Single:  "Choose one.",
	quiz.Several: "Choose all that apply.",
	quiz.Order:   "Put them in order, first to last.",
	quiz.Match:   "Match each letter with a number.",
	quiz.Number:  "Give the figure with its unit.",
	quiz.Point:   "Name the one that is meant.",
}

// letter is a, b, … z, aa, ab, … for 0, 1, …
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return letter(i/26-1) + string(rune('a'+i%26))
}

// keyWords says a question's key in the letters and numbers that writeForm prints.
func keyWords(q quiz.Question) string {
	letters, numbers := map[string]string{}, map[string]string{}
	for i, o := range q.Options {
		letters[o.ID] = letter(i)
	}
	for i, o := range q.Targets {
		numbers[o.ID] = fmt.Sprint(i + 1)
	}
	switch q.Kind {
	case quiz.Number:
		return strings.TrimSpace(q.Key.Number.Value + " " + q.Key.Number.Unit)
	case quiz.Several:
		all := make([]string, len(q.Key.IDs))
		for i, id := range q.Key.IDs {
			all[i] = letters[id]
		}
		return strings.Join(all, ", ")
	case quiz.Match:
		all := make([]string, len(q.Key.Pairs))
		for i, pair := range q.Key.Pairs {
			all[i] = letters[pair[0]] + numbers[pair[1]]
		}
		return strings.Join(all, ", ")
	case quiz.Order:
		return strings.Join(oneOrder(q, letters), ", ")
	default:
		return letters[q.Key.ID]
	}
}

// oneOrder gives one order of the options that the key allows; several may be right.
func oneOrder(q quiz.Question, letters map[string]string) []string {
	before := map[string]int{} // how many options must come before
	for _, pair := range q.Key.Pairs {
		before[pair[1]]++
	}
	var all []string
	done := map[string]bool{}
	for range q.Options {
		for _, o := range q.Options {
			if done[o.ID] || before[o.ID] > 0 {
				continue
			}
			done[o.ID] = true
			all = append(all, letters[o.ID])
			for _, pair := range q.Key.Pairs {
				if pair[0] == o.ID {
					before[pair[1]]--
				}
			}
			break
		}
	}
	return all
}

// writeJSON prints a value as indented JSON.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
