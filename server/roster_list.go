package server

import (
	"encoding/csv"
	"errors"
	"io"
	"net/http"
	"strings"

	"brakewright/server/acts"
	"brakewright/store"
)

// rosterColumns are the columns of a roster list, by their names in its first line; only name, login and role must be there.
var rosterColumns = []string{"name", "login", "role", "site", "cohort", "employer", "from"}

// readRoster reads a roster list: comma-, semicolon- or tab-separated, the first line naming the columns. Sites and
// cohorts are given by name. The error names the list as a whole; what is wrong with single fields comes as problems.
func readRoster(text string, sites []store.Site, cohorts []store.Cohort) ([]acts.NewPerson, []importRow, error) {
	text = strings.TrimPrefix(text, "\ufeff")
	c := csv.NewReader(strings.NewReader(text))
	c.TrimLeadingSpace, c.FieldsPerRecord = true, -1
	first, _, _ := strings.Cut(text, "\n")
	for _, comma := range []rune{';', '\t'} {
		if strings.ContainsRune(first, comma) && !strings.ContainsRune(first, ',') {
			c.Comma = comma
		}
	}
	head, err := c.Read()
	if errors.Is(err, io.EOF) {
		return nil, nil, listFailure("list_empty", nil)
	}
	if err != nil {
		return nil, nil, listFailure("list_unreadable", err)
	}
	at := map[string]int{}
	for i, h := range head {
		at[strings.ToLower(strings.TrimSpace(h))] = i
	}
	for _, need := range rosterColumns[:3] {
		if _, ok := at[need]; !ok {
			f := listFailure("list_column_missing", nil)
			f.args = map[string]string{"column": need}
			return nil, nil, f
		}
	}
	problems := failure{status: http.StatusUnprocessableEntity, code: "people_problems"}
	var people []acts.NewPerson
	var rows []importRow
	for {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, nil, listFailure("list_unreadable", err)
		}
		get := func(column string) string {
			if i, ok := at[column]; ok && i < len(record) {
				return strings.TrimSpace(record[i])
			}
			return ""
		}
		row := importRow{Row: len(rows) + 1, Name: get("name"), Login: get("login"), Role: strings.ToLower(get("role")), Site: get("site"), Cohort: get("cohort"), Employer: get("employer"), On: get("from")}
		n := acts.NewPerson{Name: row.Name, Login: row.Login, Role: row.Role, Employer: row.Employer, From: row.On}
		tell := func(field, code, value string) {
			args := map[string]string{field: value, "row": itoa(row.Row)}
			problems.problems = append(problems.problems, failure{status: problems.status, code: code, args: args, field: "people[" + itoa(len(rows)) + "]." + field, text: sentence(code, args)})
		}
		for _, x := range sites {
			if strings.EqualFold(x.Name, row.Site) || x.ID == row.Site {
				n.Site = x.ID
			}
		}
		if row.Site != "" && n.Site == "" {
			tell("site", "unknown_site", row.Site)
		}
		for _, x := range cohorts {
			if (strings.EqualFold(x.Name, row.Cohort) || x.ID == row.Cohort) && (n.Site == "" || x.Site == n.Site) {
				n.Cohort = x.ID
			}
		}
		if row.Cohort != "" && n.Cohort == "" {
			tell("cohort", "unknown_cohort", row.Cohort)
		}
		people, rows = append(people, n), append(rows, row)
	}
	if len(rows) == 0 {
		return nil, nil, listFailure("list_empty", nil)
	}
	if len(problems.problems) > 0 {
		return people, rows, problems
	}
	return people, rows, nil
}

func listFailure(code string, cause error) failure {
	return failure{status: http.StatusUnprocessableEntity, code: code, field: "list", cause: cause}
}
