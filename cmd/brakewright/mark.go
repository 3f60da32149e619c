package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"brakewright/quiz"
)

func newMark() *cobra.Command {
	var formFile, answersFile, voidedFile, locale, format string
	cmd := &cobra.Command{
		Use:   "mark",
		Short: "Mark answers against a form",
		Long: `Mark reads a form as "quiz --format json" makes it and an answers file
({"format": "brakewright-answers/1", "answers": {QUESTION: ANSWER}}) and prints the marks.

The exit status is 0 when it could mark, whatever the mark, and 1 when an answer must be asked
back: a lone comma or dot before three digits that the locale does not settle is never guessed.
"-" reads standard input.

Every question counts one point, all or nothing. Of an order, every order that keeps to the
forced pairs is right; a list is right when it has all options that belong to it and no other.
How much of a wrong one is right is told, to learn from, and never counts.

--voided names a file of questions that were found at fault
({"format": "brakewright-voided/1", "voided": [{"question": ID, "lesson": ID, "edition": HASH}]},
the edition may be left out): they count as right for everybody who had them.`,
		Example: `  brakewright mark --form form.json --answers answers.json
  brakewright mark --form form.json --answers - --locale es --format json < answers.json
  brakewright mark --form form.json --answers answers.json --voided voided.json`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	f.StringVar(&formFile, "form", "", "the form, with its keys")
	f.StringVar(&answersFile, "answers", "", "the answers file")
	f.StringVar(&voidedFile, "voided", "", "a file of voided questions")
	f.StringVar(&locale, "locale", "", "language that settles the decimal sign of typed figures: en, es, …")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "form", "answers"); err != nil {
			return err
		}
		inputs := 0
		for _, file := range []string{formFile, answersFile, voidedFile} {
			if file == "-" {
				inputs++
			}
		}
		if inputs > 1 {
			return usagef("only one of --form, --answers and --voided can be standard input")
		}
		b, err := readFile(cmd.InOrStdin(), formFile, "the form")
		if err != nil {
			return err
		}
		form, err := quiz.ReadForm(b)
		if err != nil {
			return fmt.Errorf("%s: %w", formFile, err)
		}
		if b, err = readFile(cmd.InOrStdin(), answersFile, "the answers"); err != nil {
			return err
		}
		answers, err := quiz.ReadAnswers(b, form)
		if err != nil {
			return fmt.Errorf("%s: %w", answersFile, err)
		}
		voided := &quiz.Voided{}
		if voidedFile != "" {
			if b, err = readFile(cmd.InOrStdin(), voidedFile, "the voided questions"); err != nil {
				return err
			}
			if voided, err = quiz.ReadVoided(b); err != nil {
				return fmt.Errorf("%s: %w", voidedFile, err)
			}
		}
		marks := quiz.MarkVoided(form, answers, locale, voided.Holds)
		if format == "json" {
			_, err = cmd.OutOrStdout().Write(marks.JSON())
		} else {
			err = writeMarks(cmd.OutOrStdout(), form, marks)
		}
		if err != nil {
			return err
		}
		for _, q := range marks.Questions {
			if q.AskBack {
				return errFindings
			}
		}
		return nil
	}
	return cmd
}

// writeMarks prints marks for a person.
func writeMarks(w io.Writer, f *quiz.Form, m *quiz.Marks) error {
	for i, q := range m.Questions {
		said := "wrong"
		switch {
		case q.Voided:
			said = "voided, counts as right"
		case q.AskBack:
			said = "ask back: the figure can be read in two ways"
		case q.Correct:
			said = "right"
		case q.Partial != nil && q.Partial.Right > 0:
			said = fmt.Sprintf("wrong, though %d of %d are right", q.Partial.Right, q.Partial.Of)
		case q.Diagnosis != nil:
			said = "wrong, by the slip " + *q.Diagnosis
		}
		if _, err := fmt.Fprintf(w, "%d. %s: %s, %d of %d\n", i+1, q.ID, said, q.Points, q.Max); err != nil {
			return err
		}
		if asked := f.Question(q.ID); asked != nil && !q.Correct && !q.AskBack {
			if _, err := fmt.Fprintf(w, "   %s\n", asked.Explanation); err != nil {
				return err
			}
		}
	}
	result := ""
	if m.Passed != nil {
		result = ", not passed"
		if *m.Passed {
			result = ", passed"
		}
	}
	if n := len(m.CriticalFailed); n > 0 {
		result += fmt.Sprintf(", %s failed", count(n, "critical question"))
	}
	_, err := fmt.Fprintf(w, "%d of %s, %d %%%s\n", m.Points, count(m.Max, "point"), m.Percent, result)
	return err
}
