package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"brakewright/readiness"
)

// newCalibrate estimates a snapshot of parameters from evidence.
func newCalibrate() *cobra.Command {
	var a assessment
	var out string
	cmd := &cobra.Command{
		Use:   "calibrate",
		Short: "Estimate the parameters of readiness from a programme's own evidence",
		Long: `Calibrate estimates how apprentices of a programme learn and forget, how hard its tasks are and how strict
its supervisors, from all evidence together, and writes a snapshot of parameters. It compares every
value with its documented prior. Nothing changes by it: a snapshot holds when it is named by assess,
or adopted by a signed entry.`,
		Example: `  brakewright calibrate --catalogue catalogue.json --evidence evidence.jsonl --out parameters.json`,
		Args:    exactly(0, ""),
	}
	a.fileFlags(cmd)
	cmd.Flags().StringVar(&out, "out", "", "file to write the snapshot to")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "catalogue", "evidence", "out"); err != nil {
			return err
		}
		g, err := a.fromFiles(cmd)
		if err != nil {
			return err
		}
		if err := enoughToCompare(g); err != nil {
			return err
		}
		snapshot, err := newReplacement(out) // before minutes of work, not after them
		if err != nil {
			return err
		}
		defer snapshot.drop()
		stderr := cmd.ErrOrStderr()
		parameters, report := readiness.Calibrate(g.catalogue, g.evidence, g.policy, func(sweep, of int, likelihood float64) {
			fmt.Fprintf(stderr, "sweep %d of at most %d: log-likelihood a job %.4f\n", sweep, of, likelihood)
		})
		if err := snapshot.keep(append(parameters.JSON(), '\n')); err != nil {
			return err
		}
		return writeCalibration(cmd.OutOrStdout(), parameters, report)
	}
	return cmd
}

// enoughToCompare refuses evidence that says nothing of how people learn or how strict supervisors are.
func enoughToCompare(g *grounds) error {
	for i := range g.evidence {
		if g.evidence[i].Type == "job" && slices.ContainsFunc(g.catalogue.Tasks, func(t readiness.CatalogueTask) bool { return t.Task == g.evidence[i].Task }) {
			return nil
		}
	}
	return failf("Give evidence with watched jobs of tasks of the catalogue.", "the evidence holds no watched job of any task of the catalogue: there is nothing to estimate from")
}

// replacement is a file that takes another's place once it is whole.
type replacement struct {
	file *os.File
	path string
}

func newReplacement(path string) (*replacement, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, failf("Name a file.", "%s is no file that could be written", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return nil, failf("Name a file in a folder that is there and can be written to.", "cannot write the snapshot: %w", err)
	}
	return &replacement{f, path}, nil
}

// keep puts the bytes in place.
func (r *replacement) keep(b []byte) error {
	_, err := r.file.Write(b)
	if err == nil {
		err = r.file.Chmod(0o644)
	}
	if err = errors.Join(err, r.file.Close()); err == nil {
		err = os.Rename(r.file.Name(), r.path)
	}
	if err != nil {
		return fmt.Errorf("cannot write the snapshot: %w", err)
	}
	return nil
}

// drop removes what was not kept.
func (r *replacement) drop() {
	r.file.Close()           //nolint:errcheck // closed already if it was kept
	os.Remove(r.file.Name()) //nolint:errcheck // gone already if it was kept
}

func writeCalibration(w io.Writer, p readiness.Parameters, r readiness.Report) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "parameters %s, up to %s\n", p.Hash(), p.UpTo)
	fmt.Fprintf(&b, "%d watched jobs of %d apprentices; population values from %d of them\n", r.Jobs, r.Apprentices, r.Sample)
	fmt.Fprintf(&b, "mean log-likelihood of a job: %.4f with the priors, %.4f now, after %d evaluations\n", r.Before, r.After, r.Evaluations)
	if r.Converged {
		fmt.Fprintln(&b, "the search came to rest")
	} else {
		fmt.Fprintln(&b, "the search ran to its end without coming to rest; the values are the best it found")
	}
	fmt.Fprintf(&b, "%-16s %10s %10s\n", "value", "prior", "estimate")
	for _, v := range r.Values {
		fmt.Fprintf(&b, "%-16s %10.3f %10.3f\n", v.Name, v.Prior, v.Estimate)
	}
	_, err := b.WriteTo(w)
	return err
}

// newSeverity compares supervisors.
func newSeverity() *cobra.Command {
	var a assessment
	var format string
	cmd := &cobra.Command{
		Use:   "severity",
		Short: "Say how strict each supervisor is, from everybody's jobs together",
		Long: `Severity compares supervisors by the jobs they watched, with who was watched, at what task, after how
much practice and at how hard a job allowed for. Positive is stricter. Supervisors can be compared
within a linked set only: those who share apprentices, directly or over others. The mean of a set is 0.`,
		Example: `  brakewright severity --catalogue catalogue.json --evidence evidence.jsonl --format json`,
		Args:    exactly(0, ""),
	}
	a.fileFlags(cmd)
	cmd.Flags().StringVar(&a.parametersFile, "parameters", "", "snapshot of parameters (default: the documented priors)")
	formatFlag(cmd, &format, "text", "json")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := needed(cmd, "catalogue", "evidence"); err != nil {
			return err
		}
		g, err := a.fromFiles(cmd)
		if err != nil {
			return err
		}
		return writeSeverities(cmd.OutOrStdout(), readiness.Severities(g.catalogue, g.evidence, g.parameters), format)
	}
	return cmd
}

func writeSeverities(w io.Writer, all []readiness.Severity, format string) error {
	if format == "json" {
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		for _, s := range all {
			if err := e.Encode(s); err != nil {
				return err
			}
		}
		return nil
	}
	var b bytes.Buffer
	if len(all) == 0 {
		fmt.Fprintln(&b, "nobody has watched a job of a task of the catalogue")
	}
	for i, s := range all {
		if i == 0 || s.Set != all[i-1].Set {
			fmt.Fprintf(&b, "linked set of %s\n", s.Set)
		}
		fmt.Fprintf(&b, "  %-24s %+.2f (standard error %.2f, %d jobs)\n", s.Supervisor, s.Severity, s.SE, s.Jobs)
	}
	_, err := b.WriteTo(w)
	return err
}

// fileFlags are the flags of the files that evidence comes from.
func (a *assessment) fileFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&a.catalogueFile, "catalogue", "", "catalogue of tasks, steps and lessons")
	f.StringVar(&a.evidenceFile, "evidence", "", "evidence, one record a line")
}
