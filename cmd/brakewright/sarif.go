package main

import (
	"encoding/json"
	"io"
	"net/url"

	"brakewright/curriculum"
)

// SARIF 2.1.0 (OASIS), as much of it as an editor or a code host needs to show problems in place.
type sarifLog struct {
	Schema  string     `json:"$schema"`
	Version string     `json:"version"`
	Runs    []sarifRun `json:"runs"`
}

type sarifRun struct {
	Tool       sarifTool     `json:"tool"`
	ColumnKind string        `json:"columnKind"`
	Results    []sarifResult `json:"results"`
}

type sarifTool struct {
	Driver sarifDriver `json:"driver"`
}

type sarifDriver struct {
	Name    string      `json:"name"`
	Version string      `json:"version"`
	Rules   []sarifRule `json:"rules"`
}

type sarifRule struct {
	ID string `json:"id"`
}

type sarifResult struct {
	RuleID    string          `json:"ruleId"`
	RuleIndex int             `json:"ruleIndex"`
	Level     string          `json:"level"`
	Message   sarifText       `json:"message"`
	Locations []sarifLocation `json:"locations"`
}

type sarifText struct {
	Text string `json:"text"`
}

type sarifLocation struct {
	PhysicalLocation sarifPlace `json:"physicalLocation"`
}

type sarifPlace struct {
	ArtifactLocation sarifArtifact `json:"artifactLocation"`
	Region           *sarifRegion  `json:"region,omitempty"`
}

type sarifArtifact struct {
	URI string `json:"uri"`
}

type sarifRegion struct {
	StartLine   int `json:"startLine"`
	StartColumn int `json:"startColumn,omitempty"`
}

// sarifOf turns problems into a SARIF log. Paths stay relative to the programme folder; columns count characters.
func sarifOf(problems []curriculum.Problem) sarifLog {
	run := sarifRun{
		Tool:       sarifTool{sarifDriver{Name: "brakewright lint", Version: programVersion(), Rules: []sarifRule{}}},
		ColumnKind: "unicodeCodePoints",
		Results:    []sarifResult{},
	}
	rules := map[string]int{}
	for _, l := range problemLines(problems) {
		i, known := rules[l.Code]
		if !known {
			i = len(run.Tool.Driver.Rules)
			rules[l.Code] = i
			run.Tool.Driver.Rules = append(run.Tool.Driver.Rules, sarifRule{ID: l.Code})
		}
		place := sarifPlace{ArtifactLocation: sarifArtifact{URI: (&url.URL{Path: l.File}).String()}}
		if l.Line > 0 { // a region must start at line 1 or later
			place.Region = &sarifRegion{StartLine: l.Line, StartColumn: l.Column}
		}
		run.Results = append(run.Results, sarifResult{
			RuleID: l.Code, RuleIndex: i, Level: string(l.Severity),
			Message:   sarifText{l.Message + " " + l.Cause + " " + l.Cure},
			Locations: []sarifLocation{{place}},
		})
	}
	return sarifLog{
		Schema:  "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
		Version: "2.1.0",
		Runs:    []sarifRun{run},
	}
}

func writeSARIF(w io.Writer, problems []curriculum.Problem) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(sarifOf(problems))
}
