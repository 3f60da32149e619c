package readiness

import (
	"bytes"
	"cmp"
	"errors"
	"math/big"
	"regexp"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v4"
)

// policyDecoder walks the nodes of a policy block and gathers faults. Codes, with the arguments beside key (the path of
// the field, "tasks.bleed.jobs"):
//
//	policy_unreadable        text: not YAML at all (no key)
//	policy_not_a_mapping     value
//	policy_unknown_key       nearest ("" if none is near)
//	policy_duplicate_key
//	policy_missing
//	policy_not_text          value
//	policy_not_a_number      value
//	policy_not_whole         value
//	policy_not_true_or_false value
//	policy_out_of_range      value, from, to (the ends may be reached unless they are open: target, confidence)
//	policy_job_mix_sum       sum
type policyDecoder struct{ faults []PolicyFault }

func (d *policyDecoder) fault(n *yaml.Node, code, key string, more ...string) {
	args := map[string]string{"key": key}
	for i := 0; i+1 < len(more); i += 2 {
		args[more[i]] = more[i+1]
	}
	d.faults = append(d.faults, PolicyFault{Line: n.Line, Column: n.Column, Code: code, Args: args})
}

func sortFaults(fs []PolicyFault) {
	slices.SortStableFunc(fs, func(a, b PolicyFault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}

// unwrap goes through documents and aliases; nil for nothing at all.
func unwrap(n *yaml.Node) *yaml.Node {
	for range 8 { // an alias can only point to an earlier anchor; the bound is for nodes made by hand
		switch {
		case n == nil || n.Kind == 0:
			return nil
		case n.Kind == yaml.DocumentNode && len(n.Content) > 0:
			n = n.Content[0]
		case n.Kind == yaml.DocumentNode:
			return nil
		case n.Kind == yaml.AliasNode:
			n = n.Alias
		default:
			return n
		}
	}
	return n
}

func isNull(n *yaml.Node) bool {
	return n == nil || n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null"
}

// field is a key that a mapping may have, and what reads its value.
type field struct {
	key  string
	read func(path string, n *yaml.Node)
}

// mapping reads n as a mapping with these keys. A null is an empty mapping. It says whether n was one.
func (d *policyDecoder) mapping(path string, n *yaml.Node, fields []field) bool {
	return d.entries(path, n, func(key string, k, v *yaml.Node) {
		full := join(path, key)
		for _, f := range fields {
			if f.key == key {
				if v := unwrap(v); !isNull(v) {
					f.read(full, v)
				}
				return
			}
		}
		known := make([]string, len(fields))
		for i, f := range fields {
			known[i] = f.key
		}
		d.fault(k, "policy_unknown_key", full, "nearest", nearest(key, known))
	})
}

// entries calls each for every key of a mapping once; twice the same key is a fault.
func (d *policyDecoder) entries(path string, n *yaml.Node, each func(key string, k, v *yaml.Node)) bool {
	if isNull(n) {
		return true
	}
	if n.Kind != yaml.MappingNode {
		d.fault(n, "policy_not_a_mapping", path, "value", n.Value)
		return false
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := unwrap(n.Content[i]), n.Content[i+1]
		if k == nil || k.Kind != yaml.ScalarNode {
			d.fault(n.Content[i], "policy_not_text", join(path, "?"), "value", "")
			continue
		}
		if seen[k.Value] {
			d.fault(k, "policy_duplicate_key", join(path, k.Value))
			continue
		}
		seen[k.Value] = true
		each(k.Value, k, v)
	}
	return true
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func (d *policyDecoder) policy(n *yaml.Node) Policy {
	p := DefaultPolicy()
	var tasks *yaml.Node
	d.mapping("", unwrap(n), []field{
		{"target", d.chance(&p.Target)},
		{"confidence", d.chance(&p.Confidence)},
		{"job_mix", func(path string, n *yaml.Node) { p.JobMix = d.jobMix(path, n) }},
		{"induction", d.text(&p.Induction)},
		{"supervisors_available", d.whole(&p.SupervisorsAvailable, 0, 100000)},
		{"backdating_days", d.whole(&p.BackdatingDays, 0, 3660)},
		{"countersign_days", d.whole(&p.CountersignDays, 0, 3660)},
		{"review_days", d.whole(&p.ReviewDays, 0, 36600)},
		{"grace_days", d.whole(&p.GraceDays, 0, 3660)},
		{"retention_years", d.whole(&p.RetentionYears, 0, MaxRetentionYears)},
		{"retention", func(path string, n *yaml.Node) { p.Retention = d.retention(path, n) }},
		{"tasks", func(_ string, n *yaml.Node) { tasks = n }},
	})
	p.Tasks = d.tasks("tasks", tasks)
	return p
}

// retention reads years by kind of record; nil if none is named.
func (d *policyDecoder) retention(path string, n *yaml.Node) map[RecordKind]int {
	years := map[RecordKind]int{}
	fields := make([]field, len(RecordKinds))
	for i, kind := range RecordKinds {
		fields[i] = field{string(kind), func(path string, n *yaml.Node) {
			y := -1
			if d.whole(&y, 0, MaxRetentionYears)(path, n); y >= 0 {
				years[kind] = y
			}
		}}
	}
	d.mapping(path, n, fields)
	if len(years) == 0 {
		return nil
	}
	return years
}

// tasks reads what each task asks. The entry EveryTask is read first, wherever it stands, since the others build on it.
func (d *policyDecoder) tasks(path string, n *yaml.Node) map[string]TaskPolicy {
	all := map[string]TaskPolicy{}
	base := defaultTaskPolicy()
	d.entries(path, n, func(key string, _, v *yaml.Node) {
		if key == EveryTask {
			base = d.task(join(path, key), v, base)
			all[key] = base
		}
	})
	if n == nil || n.Kind != yaml.MappingNode {
		return all
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := unwrap(n.Content[i])
		if k == nil || k.Kind != yaml.ScalarNode {
			continue // already a fault
		}
		if _, done := all[k.Value]; !done {
			all[k.Value] = d.task(join(path, k.Value), n.Content[i+1], base)
		}
	}
	return all
}

func (d *policyDecoder) task(path string, n *yaml.Node, base TaskPolicy) TaskPolicy {
	t := base
	d.mapping(path, unwrap(n), []field{
		{"target", d.chancePointer(&t.Target)},
		{"confidence", d.chancePointer(&t.Confidence)},
		{"jobs", d.whole(&t.Jobs, 0, 1000)},
		{"supervisors", d.whole(&t.Supervisors, 0, 1000)},
		{"layouts", d.whole(&t.Layouts, 0, 1000)},
		{"recency_days", d.whole(&t.RecencyDays, 1, 36600)},
		{"lapse_days", d.whole(&t.LapseDays, 1, 36600)},
		{"jobs_per_month", d.number(&t.JobsPerMonth, "0", "1000")},
		{"theory_test", func(path string, n *yaml.Node) { t.TheoryTest = d.theoryTest(path, n) }},
	})
	return t
}

func (d *policyDecoder) theoryTest(path string, n *yaml.Node) *TheoryTest {
	t := &TheoryTest{PassPercent: defaultPassPercent}
	asked := false
	ok := d.mapping(path, n, []field{
		{"blueprint", func(path string, n *yaml.Node) { asked = true; d.text(&t.Blueprint)(path, n) }},
		{"pass_percent", d.whole(&t.PassPercent, 0, 100)},
		{"watched", d.boolean(&t.Watched)},
	})
	if ok && !asked {
		d.fault(n, "policy_missing", join(path, "blueprint"))
	}
	return t
}

// jobMix reads shares of the three difficulties; absent ones are 0. They must sum to 1, to within a thousand millionth,
// so that thirds written with many digits pass.
func (d *policyDecoder) jobMix(path string, n *yaml.Node) map[string]float64 {
	mix := map[string]float64{"routine": 0, "usual": 0, "awkward": 0}
	sum := new(big.Rat)
	before := len(d.faults)
	share := func(key string) field {
		return field{key, func(path string, n *yaml.Node) {
			if r := d.rational(path, n, "0", "1"); r != nil {
				mix[key], _ = r.Float64()
				sum.Add(sum, r)
			}
		}}
	}
	d.mapping(path, n, []field{share("routine"), share("usual"), share("awkward")})
	off := new(big.Rat).Sub(sum, big.NewRat(1, 1))
	if len(d.faults) == before && off.Abs(off).Cmp(big.NewRat(1, 1_000_000_000)) > 0 {
		d.fault(n, "policy_job_mix_sum", path, "sum", decimalText(sum))
	}
	return mix
}

// decimalText writes a rational with at most nine decimals and no trailing zeros.
func decimalText(r *big.Rat) string {
	s := []byte(r.FloatString(9))
	s = bytes.TrimRight(s, "0")
	return string(bytes.TrimSuffix(s, []byte(".")))
}

// plainNumber is a decimal number as JSON and YAML both write it. Octal, hexadecimal, infinite and the like are refused.
var plainNumber = regexp.MustCompile(`^[-+]?([0-9]{1,15})(\.[0-9]{0,20})?([eE][-+]?[0-9]{1,2})?$`)

// rational reads a number within [from, to] exactly; nil after a fault.
func (d *policyDecoder) rational(path string, n *yaml.Node, from, to string) *big.Rat {
	if n.Kind != yaml.ScalarNode || (n.ShortTag() != "!!int" && n.ShortTag() != "!!float") || !plainNumber.MatchString(n.Value) {
		d.fault(n, "policy_not_a_number", path, "value", n.Value)
		return nil
	}
	r, ok := new(big.Rat).SetString(n.Value)
	if !ok {
		d.fault(n, "policy_not_a_number", path, "value", n.Value)
		return nil
	}
	if r.Cmp(mustRat(from)) < 0 || r.Cmp(mustRat(to)) > 0 {
		d.fault(n, "policy_out_of_range", path, "value", n.Value, "from", from, "to", to)
		return nil
	}
	return r
}

func mustRat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("readiness: not a number: " + s)
	}
	return r
}

func (d *policyDecoder) number(to *float64, low, high string) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		if r := d.rational(path, n, low, high); r != nil {
			*to, _ = r.Float64()
		}
	}
}

// chance reads a probability between 0 and 1, both excluded.
func (d *policyDecoder) chance(to *float64) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		r := d.rational(path, n, "0", "1")
		if r == nil {
			return
		}
		if r.Sign() == 0 || r.Cmp(big.NewRat(1, 1)) == 0 {
			d.fault(n, "policy_out_of_range", path, "value", n.Value, "from", "0", "to", "1")
			return
		}
		*to, _ = r.Float64()
	}
}

func (d *policyDecoder) chancePointer(to **float64) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		var f float64
		if d.chance(&f)(path, n); f != 0 {
			*to = &f
		}
	}
}

func (d *policyDecoder) whole(to *int, low, high int) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		r := d.rational(path, n, strconv.Itoa(low), strconv.Itoa(high))
		if r == nil {
			return
		}
		if !r.IsInt() {
			d.fault(n, "policy_not_whole", path, "value", n.Value)
			return
		}
		*to = int(r.Num().Int64())
	}
}

func (d *policyDecoder) text(to *string) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		// A bare 12 or yes is meant as an id, too: what a scalar looks like to YAML does not matter here.
		if n.Kind != yaml.ScalarNode {
			d.fault(n, "policy_not_text", path, "value", "")
			return
		}
		*to = n.Value
	}
}

func (d *policyDecoder) boolean(to *bool) func(string, *yaml.Node) {
	return func(path string, n *yaml.Node) {
		switch {
		case n.Kind == yaml.ScalarNode && n.ShortTag() == "!!bool" && (n.Value == "true" || n.Value == "false"):
			*to = n.Value == "true"
		default:
			d.fault(n, "policy_not_true_or_false", path, "value", n.Value)
		}
	}
}

// unreadable turns the parser's error into a fault, with its place where it has one.
func unreadable(err error) PolicyFault {
	f := PolicyFault{Line: 1, Column: 1, Code: "policy_unreadable", Args: map[string]string{"text": err.Error()}}
	var load *yaml.LoadError
	if errors.As(err, &load) {
		f.Args["text"] = load.Message
		if load.Mark.Line > 0 {
			f.Line, f.Column = load.Mark.Line, max(1, load.Mark.Column)
		}
	}
	return f
}

// spacesForTabs makes valid JSON readable as YAML, where a tab may not indent. A tab cannot stand inside a JSON string.
func spacesForTabs(b []byte) []byte { return bytes.ReplaceAll(b, []byte("\t"), []byte(" ")) }

// nearest returns the known word within two edits (a third of the length for long words), or "".
func nearest(word string, known []string) string {
	best, least := "", max(2, len(word)/3)+1
	for _, k := range known {
		if e := edits(word, k); e < least {
			best, least = k, e
		}
	}
	return best
}

// edits is the number of letters to insert, delete or replace to make a into b.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := diagonal
			if a[i-1] != b[j-1] {
				change++
			}
			diagonal = row[j]
			row[j] = min(change, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
