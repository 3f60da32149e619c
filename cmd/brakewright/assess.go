package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

// assessment is what assess is asked.
type assessment struct {
	catalogueFile, evidenceFile, policyFile string
	database, person                        string
	parametersFile                          string
	dates                                   []string
	options                                 readiness.Options
	printPolicy                             bool
	format                                  string
}

// grounds is what verdicts rest on.
type grounds struct {
	catalogue  *readiness.Catalogue
	evidence   []readiness.Record
	policy     readiness.Policy
	parameters readiness.Parameters
	programme  *curriculum.Programme // of a database: titles for the words
}

func newAssess() *cobra.Command {
	var a assessment
	cmd := &cobra.Command{
		Use:   "assess",
		Short: "Say where apprentices stand with every task on a date, and why",
		Long: `Assess computes the standing of every apprentice with every task on each date: the gates, the
probability that the next job alone goes without a critical error, and what follows. The same
catalogue, evidence, policy, parameters and date give the same bytes on every machine. It is
advice; a person clears.

It reads files (catalogue: JSON; evidence: JSON Lines; policy: the policy block of a
programme.yaml as YAML or JSON, or the whole file) or a database. "-" reads standard input.`,
		Example: `  brakewright assess --catalogue catalogue.json --evidence evidence.jsonl --as-of 2030-05-01 --explain
  brakewright assess --catalogue catalogue.json --evidence - --policy policy.yaml --as-of 2030-05-01,2030-06-01 --format jsonl
  brakewright assess --database shop.db --person sam --as-of 2030-05-01
  brakewright assess --print-policy`,
		Args: exactly(0, ""),
	}
	f := cmd.Flags()
	f.StringVar(&a.catalogueFile, "catalogue", "", "catalogue of tasks, steps and lessons")
	f.StringVar(&a.evidenceFile, "evidence", "", "evidence, one record a line")
	f.StringVar(&a.policyFile, "policy", "", "policy (default: what --print-policy prints)")
	databaseFlag(cmd, &a.database)
	f.StringVar(&a.person, "person", "", "id of one apprentice (default: everybody in the database)")
	f.StringVar(&a.parametersFile, "parameters", "", "snapshot of parameters (default: the database's; for files the documented priors, with supervisors estimated for each date)")
	f.StringSliceVar(&a.dates, "as-of", nil, "date, YYYY-MM-DD; several with commas")
	f.BoolVar(&a.options.NoGates, "no-gates", false, "leave the gates out: ready is the confidence alone")
	f.BoolVar(&a.options.Explain, "explain", false, "add the reasons and the next acts")
	f.BoolVar(&a.printPolicy, "print-policy", false, "print the policy as it holds, defaults filled in, and stop")
	formatFlag(cmd, &a.format, "text", "jsonl")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := a.check(cmd); err != nil {
			return err
		}
		if a.printPolicy {
			return a.writePolicy(cmd)
		}
		var g *grounds
		var err error
		if a.database != "" {
			g, err = a.fromDatabase(cmd)
		} else {
			g, err = a.fromFiles(cmd)
		}
		if err != nil {
			return err
		}
		return a.write(cmd.OutOrStdout(), g)
	}
	return cmd
}

// check refuses flags that do not go together.
func (a *assessment) check(cmd *cobra.Command) error {
	fromDatabase, fromFiles := a.database != "", a.catalogueFile != "" || a.evidenceFile != ""
	stdins := 0
	for _, path := range []string{a.catalogueFile, a.evidenceFile, a.policyFile, a.parametersFile} {
		if path == "-" {
			stdins++
		}
	}
	switch {
	case fromDatabase && (fromFiles || a.policyFile != ""):
		return usagef("--database stands alone: it has its own catalogue, evidence and policy")
	case a.person != "" && !fromDatabase:
		return usagef("--person needs --database")
	case stdins > 1:
		return usagef("only one file can be standard input")
	case a.printPolicy:
		return nil
	case !fromDatabase && !fromFiles:
		return usagef("say --catalogue and --evidence, or --database")
	case !fromDatabase:
		if err := needed(cmd, "catalogue", "evidence"); err != nil {
			return err
		}
	}
	if err := needed(cmd, "as-of"); err != nil {
		return err
	}
	for _, d := range a.dates {
		if !readiness.ValidDate(d) {
			return usagef("--as-of %q is not a date (YYYY-MM-DD)", d)
		}
	}
	return nil
}

func (a *assessment) fromFiles(cmd *cobra.Command) (*grounds, error) {
	g := &grounds{}
	b, err := readFile(cmd.InOrStdin(), a.catalogueFile, "the catalogue")
	if err != nil {
		return nil, err
	}
	catalogue, catalogueFaults := readiness.ReadCatalogue(b)
	g.catalogue = catalogue
	if b, err = readFile(cmd.InOrStdin(), a.evidenceFile, "the evidence"); err != nil {
		return nil, err
	}
	evidence, lines, evidenceFaults := readiness.ReadEvidenceLines(bytes.NewReader(b))
	g.evidence = evidence
	// All faults of all files at once.
	bad := writeInputFaults(cmd.ErrOrStderr(), a.catalogueFile, catalogueFaults)
	bad = writeInputFaults(cmd.ErrOrStderr(), a.evidenceFile, evidenceFaults) || bad
	policy, err := a.policy(cmd)
	if err != nil && !errors.Is(err, errFindings) {
		return nil, err
	}
	g.policy = policy
	if bad || err != nil {
		return nil, errFindings
	}
	writeLoose(cmd.ErrOrStderr(), a.evidenceFile, readiness.Loose(g.catalogue, g.evidence, lines))
	g.parameters, err = a.parameters(cmd, readiness.DefaultParameters())
	return g, err
}

// writeLoose prints what evidence refers to without its being there; that stops nothing.
func writeLoose(w io.Writer, file string, loose []readiness.InputError) {
	for _, l := range loose {
		place := fmt.Sprintf("%s:%d", file, l.Line)
		l.Line = 0 // said already
		more := ""
		switch l.Args["more"] {
		case "0":
		case "1":
			more = " So in one further place."
		default:
			more = " So in " + l.Args["more"] + " further places."
		}
		fmt.Fprintf(w, "%s: warning: %s. %s%s\n", place, say.InputFault(l), say.InputCure(l), more)
	}
}

// writeInputFaults prints faults of a file, each with its place, cause and cure, and says whether there were any.
func writeInputFaults(w io.Writer, file string, faults []readiness.InputError) bool {
	for _, f := range faults {
		place := file
		if f.Line > 0 {
			place += fmt.Sprintf(":%d", f.Line)
		}
		f.Line = 0 // said already
		fmt.Fprintf(w, "%s: %s. %s\n", place, say.InputFault(f), say.InputCure(f))
	}
	return len(faults) > 0
}

// policy reads the policy file; faults are printed and end in errFindings.
func (a *assessment) policy(cmd *cobra.Command) (readiness.Policy, error) {
	if a.policyFile == "" {
		return readiness.DefaultPolicy(), nil
	}
	b, err := readFile(cmd.InOrStdin(), a.policyFile, "the policy")
	if err != nil {
		return readiness.Policy{}, err
	}
	p, faults := readiness.ReadPolicy(b)
	for _, f := range faults {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s:%d:%d: %s %s\n", a.policyFile, f.Line, f.Column, say.PolicyFault(f), say.PolicyCure(f))
	}
	if len(faults) > 0 {
		return p, errFindings
	}
	return p, nil
}

// parameters reads the snapshot file, if one is named.
func (a *assessment) parameters(cmd *cobra.Command, otherwise readiness.Parameters) (readiness.Parameters, error) {
	if a.parametersFile == "" {
		return otherwise, nil
	}
	b, err := readFile(cmd.InOrStdin(), a.parametersFile, "the parameters")
	if err != nil {
		return readiness.Parameters{}, err
	}
	p, err := readiness.ReadParameters(b)
	if err != nil {
		return p, failf("Use a file that this program wrote.", "%s: %w", a.parametersFile, err)
	}
	return p, nil
}

// fromDatabase takes everything from a database, which needs no key file: evidence holds no names.
func (a *assessment) fromDatabase(cmd *cobra.Command) (*grounds, error) {
	ctx := cmd.Context()
	s, err := openStore(ctx, a.database, "")
	if err != nil {
		return nil, err
	}
	defer s.Close()
	service := acts.New(s, now, rand.Reader, programVersion())
	g := &grounds{}
	catalogue, err := service.Catalogue(ctx)
	if err != nil {
		return nil, err
	}
	g.catalogue = &catalogue
	programme, err := service.Programme(ctx)
	if err != nil {
		return nil, err
	}
	g.policy, g.programme = programme.Policy, programme
	if g.parameters, err = adoptedParameters(ctx, s); err != nil {
		return nil, err
	}
	if g.parameters, err = a.parameters(cmd, g.parameters); err != nil {
		return nil, err
	}
	if a.person != "" {
		if _, err := s.Person(ctx, a.person); errors.Is(err, store.ErrNotFound) {
			return nil, failf("'brakewright person list' shows the ids.", "there is nobody with the id %q", a.person)
		} else if err != nil {
			return nil, err
		}
	}
	g.evidence, err = s.Evidence(ctx, a.person)
	return g, err
}

func adoptedParameters(ctx context.Context, s *store.Store) (readiness.Parameters, error) {
	info, err := s.Info(ctx)
	if err != nil {
		return readiness.Parameters{}, err
	}
	b, err := s.Content(ctx, info.Parameters)
	if err != nil {
		return readiness.Parameters{}, err
	}
	return readiness.ReadParameters(b)
}

// writePolicy prints the policy as it holds: of the file, of the database, or the default.
func (a *assessment) writePolicy(cmd *cobra.Command) error {
	var p readiness.Policy
	var tasks []string
	if a.database != "" {
		g, err := a.fromDatabase(cmd)
		if err != nil {
			return err
		}
		p = g.policy
		for _, t := range g.catalogue.Tasks {
			tasks = append(tasks, t.Task)
		}
	} else {
		var err error
		if p, err = a.policy(cmd); err != nil {
			return err
		}
		for t := range p.Tasks {
			tasks = append(tasks, t)
		}
	}
	var b bytes.Buffer
	if err := json.Indent(&b, p.Filled(tasks).JSON(), "", "  "); err != nil {
		return err
	}
	b.WriteByte('\n')
	_, err := b.WriteTo(cmd.OutOrStdout())
	return err
}

// write prints one verdict for every apprentice × task × date, in this order.
func (a *assessment) write(w io.Writer, g *grounds) error {
	var all []readiness.Verdict
	order := map[string]int{}
	for i, t := range g.catalogue.Tasks {
		order[t.Task] = i
	}
	for _, date := range a.dates {
		parameters := g.parameters
		if a.parametersFile == "" && a.database == "" {
			parameters = readiness.EstimateSupervisors(g.catalogue, g.evidence, parameters, date)
		}
		all = append(all, readiness.Assess(g.catalogue, g.evidence, g.policy, parameters, date, a.options)...)
	}
	slices.SortStableFunc(all, func(x, y readiness.Verdict) int {
		if c := strings.Compare(x.Apprentice, y.Apprentice); c != 0 {
			return c
		}
		return order[x.Task] - order[y.Task]
	})
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	for _, v := range all {
		for _, reasons := range [][]readiness.Reason{v.Reasons, v.Next} {
			for i := range reasons {
				reasons[i].Text = say.Reason(g.titled(reasons[i]))
			}
		}
		var err error
		if a.format == "jsonl" {
			err = e.Encode(v)
		} else {
			err = g.writeVerdict(w, v)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// titled is a reason with titles in place of ids, as far as there is a programme that has them.
func (g *grounds) titled(r readiness.Reason) readiness.Reason {
	if g.programme != nil {
		r.Args = say.Titled(g.programme, r.Args)
	}
	return r
}

// writeVerdict prints a verdict for a person: the next acts, the gates, how likely and how sure, and why.
func (g *grounds) writeVerdict(w io.Writer, v readiness.Verdict) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s, %s: %s\n", v.Apprentice, v.Task, v.AsOf, standingText(v))
	for _, r := range v.Next {
		fmt.Fprintf(&b, "  next: %s\n", r.Text)
	}
	closed := map[string]bool{}
	for _, gate := range v.Gates {
		state := "open"
		if !gate.OK {
			state, closed[gate.Why] = "closed", true
		}
		said := say.Reason(g.titled(readiness.Reason{Code: gate.Why, Args: gate.Args}))
		fmt.Fprintf(&b, "  %-6s %s: %s\n", state, say.GateName(gate.Gate), said)
	}
	fmt.Fprintf(&b, "  next job alone without a critical error: %.3f (90 %% interval %.3f to %.3f); sure of the target: %.3f\n",
		v.Probability, v.Low, v.High, v.Confidence)
	for _, r := range v.Reasons {
		if !closed[r.Code] { // said among the gates
			fmt.Fprintf(&b, "  why: %s\n", r.Text)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// standingText is a standing in words; of somebody whom people have decided about also whether it could be decided anew.
func standingText(v readiness.Verdict) string {
	text := strings.ToLower(say.Standing(v.Standing))
	switch {
	case v.Standing != readiness.Cleared && v.Standing != readiness.Lapsed:
		return text
	case v.Ready:
		return text + "; ready for a new decision"
	}
	return text + "; not ready for a new decision"
}
