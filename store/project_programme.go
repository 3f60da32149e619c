package store

import (
	"fmt"
	"sort"
	"strings"

	"go.yaml.in/yaml/v4"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// listedFile is a line "HEX  PATH" of a programme's list.
type listedFile struct{ edition, path string }

// parseProgrammeList reads the lines whose hash is the programme edition: sorted bytewise by path, each path once.
func parseProgrammeList(list []byte) ([]listedFile, error) {
	text := string(list)
	if text == "" || !strings.HasSuffix(text, "\n") {
		return nil, fmt.Errorf("is no list of files: it does not end with a line")
	}
	var files []listedFile
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		edition, path, ok := strings.Cut(line, "  ")
		if !ok || !ledger.ValidHash(edition) || path == "" {
			return nil, fmt.Errorf("line %d is not a hash, two spaces and a path", i+1)
		}
		files = append(files, listedFile{edition, path})
	}
	if !sort.SliceIsSorted(files, func(i, j int) bool { return files[i].path < files[j].path }) {
		return nil, fmt.Errorf("the paths are not sorted")
	}
	for i := 1; i < len(files); i++ {
		if files[i].path == files[i-1].path {
			return nil, fmt.Errorf("the path %s is there twice", files[i].path)
		}
	}
	return files, nil
}

// rulesPolicy is what the ledger's rules ask of a programme's policy.
type rulesPolicy struct {
	backdatingDays int
	retentionYears int
	retention      map[readiness.RecordKind]int
}

func (p rulesPolicy) keptYears(kind readiness.RecordKind) int {
	if years, ok := p.retention[kind]; ok {
		return years
	}
	return p.retentionYears
}

// rulesPolicyOf reads it from an edition's programme.yaml, and nothing else of it: the rules of an entry must not depend on
// whether a later program still understands the rest.
func rulesPolicyOf(edition string, content func(string) ([]byte, error)) (rulesPolicy, error) {
	p := rulesPolicy{backdatingDays: ledger.DefaultBackdatingDays, retentionYears: ledger.DefaultRetentionYears}
	list, err := content(edition)
	if err != nil {
		return p, err
	}
	files, err := parseProgrammeList(list)
	if err != nil {
		return p, err
	}
	for _, f := range files {
		if f.path != "programme.yaml" {
			continue
		}
		b, err := content(f.edition)
		if err != nil {
			return p, err
		}
		var y struct {
			Policy struct {
				BackdatingDays yaml.Node `yaml:"backdating_days"`
				RetentionYears yaml.Node `yaml:"retention_years"`
				Retention      yaml.Node `yaml:"retention"`
			} `yaml:"policy"`
		}
		if yaml.Unmarshal(b, &y) != nil {
			continue
		}
		number(&y.Policy.BackdatingDays, &p.backdatingDays)
		number(&y.Policy.RetentionYears, &p.retentionYears)
		var kinds map[readiness.RecordKind]yaml.Node
		if y.Policy.Retention.Decode(&kinds) == nil {
			p.retention = map[readiness.RecordKind]int{}
			for kind, n := range kinds {
				years := -1
				if number(&n, &years); years >= 0 {
					p.retention[kind] = years
				}
			}
		}
	}
	return p, nil
}

// number takes a node that is a whole number, 0 or more; anything else leaves to as it is.
func number(n *yaml.Node, to *int) {
	var x *int
	if n.Kind != 0 && n.Decode(&x) == nil && x != nil && *x >= 0 {
		*to = *x
	}
}

func (p *projection) programme(x *ledger.ProgrammePayload) error {
	edition := x.Content["programme"]
	policy, err := rulesPolicyOf(edition, p.content)
	if err != nil {
		return err
	}
	return p.run(`INSERT INTO adoptions (entry_id, idx, edition, adopted_by, recorded_at, backdating_days) VALUES ($1, $2, $3, $4, $5, $6)`,
		p.body.ID, p.index, edition, p.body.Actor, p.RecordedAt, policy.backdatingDays)
}

func (p *projection) parameters(x *ledger.ParametersPayload) error {
	return p.run(`INSERT INTO parameters (entry_id, idx, hash, recorded_at) VALUES ($1, $2, $3, $4)`,
		p.body.ID, p.index, x.Content["parameters"], p.RecordedAt)
}
