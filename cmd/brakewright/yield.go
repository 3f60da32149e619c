package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// writeYield says how many questions each lesson gives, for no car and for each training vehicle. JSON is one object a
// line behind the problems', with "yield" set to what follows.
func writeYield(w io.Writer, p *curriculum.Programme, format string) error {
	rows := quiz.Yield(p)
	if format == "json" {
		for _, r := range rows {
			if err := writeLine(w, struct {
				Yield quiz.YieldRow `json:"yield"`
			}{r}); err != nil {
				return err
			}
		}
		return nil
	}
	for _, r := range rows {
		car := r.Vehicle
		if car == "" {
			car = "no car"
		}
		var parts []string
		for _, family := range slices.Sorted(maps.Keys(r.Families)) {
			parts = append(parts, fmt.Sprintf("%s %d", family, r.Families[family]))
		}
		if _, err := fmt.Fprintf(w, "%s, %s: %s (%s)\n", r.Lesson, car, count(r.Questions, "question"), strings.Join(parts, ", ")); err != nil {
			return err
		}
		if len(r.Unreached) > 0 {
			if _, err := fmt.Fprintf(w, "  never asked about: %s\n", strings.Join(r.Unreached, ", ")); err != nil {
				return err
			}
		}
	}
	return nil
}
