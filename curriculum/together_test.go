package curriculum

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"
)

// takeMarks removes every § of a folder and returns where they stood, by file and place.
func takeMarks(fsys fstest.MapFS) (places []string) {
	for _, path := range slices.Sorted(maps.Keys(fsys)) {
		parts := strings.Split(string(fsys[path].Data), "§")
		before := ""
		for _, part := range parts[:len(parts)-1] {
			before += part
			lastLine := before[strings.LastIndexByte(before, '\n')+1:]
			places = append(places, fmt.Sprintf("%s:%d:%d", path, strings.Count(before, "\n")+1, utf8.RuneCountInString(lastLine)+1))
		}
		fsys[path].Data = []byte(strings.Join(parts, ""))
	}
	return places
}

// asks says that exactly these problems are found, each at its § in the order of the files: none is hidden by another, and none
// is only the shadow of another.
func asks(t *testing.T, fsys fstest.MapFS, codes ...string) {
	t.Helper()
	places := takeMarks(fsys)
	if len(places) != len(codes) {
		t.Fatalf("%d marks for %d codes", len(places), len(codes))
	}
	var want, got []string
	for i, code := range codes {
		want = append(want, places[i]+" "+code)
	}
	problems := Lint(fsys, "undo", "order")
	for _, p := range problems {
		got = append(got, fmt.Sprintf("%s:%d:%d %s", p.File, p.Line, p.Column, p.Code))
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s\nin full\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"), shows(problems))
	}
}

// TestOneErrorHidesNoOther: what is wrong beside an error is said with it, and nothing that only follows from it.
func TestOneErrorHidesNoOther(t *testing.T) {
	type folder = map[string]string
	lesson := func(body string) fstest.MapFS { return lessonFolder(body) }
	car := func(pairs ...string) fstest.MapFS {
		return testFolder(folder{"vehicles/v.md": strings.NewReplacer(pairs...).Replace(testVehicle)})
	}
	sum := func(yaml string) fstest.MapFS { return sumLesson(sumHead + yaml) }
	for _, r := range []struct {
		name  string
		fsys  fstest.MapFS
		codes []string
	}{
		{"a policy's gates beside another fault", policyFolder("  §targett: 0.9\n  supervisors_available: 1\n  tasks:\n    t: {jobs: §30, supervisors: §2, layouts: §2, recency_days: §20, lapse_days: §20, jobs_per_month: 1}\n", ""),
			[]string{"policy_unknown_key", "gate_jobs", "gate_supervisors", "gate_layouts", "gate_recency", "gate_lapse"}},
		{"a gate whose number cannot be read", policyFolder("  supervisors_available: 1\n  tasks:\n    t: {jobs: §many, supervisors: §two, recency_days: §20, lapse_days: 90, jobs_per_month: 1}\n", ""),
			[]string{"policy_not_a_number", "policy_not_a_number", "gate_recency"}},
		{"a gate whose measure cannot be read", policyFolder("  supervisors_available: §one\n  tasks:\n    t: {jobs: 30, §supervisor: 2, recency_days: 20, lapse_days: 90, jobs_per_month: §often}\n", ""),
			[]string{"policy_not_a_number", "policy_unknown_key", "policy_not_a_number"}},
		{"a gate of every task", policyFolder("  supervisors_available: 1\n  tasks:\n    '*': {supervisors: §two}\n    t: {jobs: 1, recency_days: §20, lapse_days: 90, jobs_per_month: 1}\n", ""),
			[]string{"policy_not_a_number", "gate_recency"}},
		{"anchors and the rest", testFolder(folder{"programme.yaml": "title: §&x Test\nlanguages: [en]\nunits: §metric\ntasks:\n  - {id: t, title: §*x, lessons: [l, §m], prerequisites: []}\n"}),
			[]string{"yaml_alias", "bad_choice", "yaml_alias", "unknown_lesson"}},
		{"keys of tasks", testFolder(folder{"programme.yaml": "title: T\nlanguages: [en]\nunits: si\ntasks:\n  - §{id: t, §titel: A, lessons: [l], §lessons: [l]}\n  - {id: u, title: B, lessons: [§m], prerequisites: [§w]}\n"}),
			[]string{"missing_key", "unknown_key", "duplicate_key", "unknown_lesson", "unknown_task"}},
		{"blueprints", testFolder(folder{"programme.yaml": testProgramme + "blueprints:\n  - {id: b, task: §u, questions: §many, lessons: {§m: 1, l: §x}, critical_steps: §some}\n"}),
			[]string{"unknown_task", "yaml_not_whole", "unknown_lesson", "yaml_not_whole", "bad_choice"}},
		{"front matter", testFolder(folder{"lessons/l.md": "---\nid: l\ntitle: A\nlanguage: §es\n§minuts: 4\ntasks: [t, §u]\nprerequisites: [§k]\n---\n## Procedure\n1. §One\n"}),
			[]string{"wrong_language", "unknown_key", "unknown_task", "unknown_lesson", "step_without_id"}},
		{"characters", lesson("one§\u202E two§\u200F\n\n## Procedure\n1. §One caf§\xe9\n2. Two§\r {#b §.x}\n"),
			[]string{"bidi_control", "bidi_control", "step_without_id", "bad_utf8", "lone_cr", "unknown_attribute"}},
		{"a mark before the file", testFolder(folder{"lessons/l.md": "§\uFEFF" + testFront + "## Procedure\n1. §One\n"}), []string{"byte_order_mark", "step_without_id"}},
		{"a column of another name", lesson("## Faults\n" + table("| Symptom | Cause | §Check |", "| a | b | c |", "| d | §| e |", "| a | f | i | §g |", "§| a | b | h |")),
			[]string{"unknown_column", "empty_cell", "extra_cell", "duplicate_row"}},
		{"a column that is missing", lesson("## Faults\n" + table("§| Symptom | Cause |", "| a | b |", "| a | §|")), []string{"missing_column", "empty_cell"}},
		{"columns in another order", lesson("## Cautions\n" + table("| Hazard | Control | §Consequence |", "| a | b | §|")), []string{"column_order", "empty_cell"}},
		{"a table of figures and its measure", lesson("## Procedure\n1. One {#a}\n   - **Measure:** Depth\n\n## Figures\n" + table("| Quantity | Value | Unit | §Limits | Source |", "| Depth | 3 | §Nm | §at least | x |", "| b | §0,3 | mm | range | x |")),
			[]string{"unknown_column", "unknown_unit", "unknown_limit", "bad_decimal"}},
		{"a limit beside a unit", figureLesson("| a | 3 | §Nm | §range | x |"), []string{"unknown_unit", "limit_mismatch"}},
		{"a list that mixes", stepLesson("1. One {#a .critical}\n   - §**Why:** x\n   - Sub {#b §.x}\n   - **If skipped:** y\n   - §**Whi:** z\n2. Two {#c after=\"b §d\"}\n"),
			[]string{"mixed_list", "unknown_attribute", "unknown_point", "unknown_step"}},
		{"two cycles and a consequence", stepLesson("- One {#a after=\"§b\"}\n- Two {#b after=\"a\"}\n- Three {#c after=\"§d\"}\n- Four {#d after=\"c\"}\n- §Five {#e .critical}\n"),
			[]string{"cycle", "cycle", "critical_without_consequence"}},
		{"two wrong names", sum("given: {a: {what: x, values: [1]}}\nfind: a + §b + §sin(§c)\n" + sumTail), []string{"formula_unknown_name", "formula_unknown_function", "formula_unknown_name"}},
		{"a sum that fails and its slips", sum("given: {a: {what: x, values: [0, 1, 2]}}\nfind: §1 / a\nunit: \"\"\nrounding: 0.001\ntolerance: 0.001\nslips: [{formula: §2 / (a + a), means: y}]\n"),
			[]string{"sum_divides_by_zero", "slip_is_right"}},
		{"a sum without a step", sum("given: {a: {what: x, values: [0, 1]}}\nfind: §1 / a\nrounding: §fine\ntolerance: 0.1\nslips: [{formula: 1 / (a + 1), means: y}]\n"), []string{"sum_divides_by_zero", "bad_decimal"}},
		{"a sheet's front matter and its figures", car("id: v", "id: v\n§engine: big", "110 | N·m", "110 | §Nm", "[abs]", "§abs"), []string{"unknown_key", "yaml_not_a_list", "unknown_unit"}},
		{"a sheet that cannot be opened", testFolder(folder{"vehicles/v.md": strings.NewReplacer("layout: split", "layout: [split", "features: [abs]", "features§: [abs]", "| 8.5 |", "| §8,5 |").Replace(testVehicle),
			"lessons/l.md": testFront + "## Procedure\n1. One to [x](vehicle:nut.torque), [y](vehicle:rotor.rear.minimum), §[z](vehicle:nowhere) {#a if=\"abs\" each=\"wheel in bleed\"}\n2. §Two\n"}),
			[]string{"unknown_vehicle_key", "step_without_id", "yaml_unreadable", "bad_decimal"}},
		{"a row of a sheet", testFolder(folder{"vehicles/v.md": strings.NewReplacer("| 110 |", "| §x |").Replace(testVehicle),
			"lessons/l.md": testFront + "## Procedure\n1. One to [x](vehicle:nut.torque) {#a}\n   - **Measure:** [x](vehicle:nut.torque)\n"}), []string{"bad_decimal"}},
		{"what a car lacks on either axle", testFolder(folder{"vehicles/w.md": strings.NewReplacer("id: v", "id: w", "rotor.front", "rotor.fore", "rotor.rear", "rotor.aft").Replace(testVehicle),
			"lessons/l.md": testFront + "## Procedure\n1. One §§[x](vehicle:rotor.{axle}.minimum) {#a each=\"wheel\"}\n"}), []string{"vehicle_lacks_key", "vehicle_lacks_key"}},
		{"wheels and orders", car("wheels: {LF: [front, disc], RF: [front, disc], LR: [rear, drum], RR: [rear, drum]}", "wheels: §four", "[abs]", "[§'a b']"), []string{"bad_id", "yaml_not_a_list"}},
		{"a drawing", pictureFolder("", `<svg xmlns="http://www.w3.org/2000/svg">§<script/>§<g onclick="x" class="callout">§</g><rect fill="red"/>§<use href="x.svg"/>§<a href="https://example.org"/></svg>`),
			[]string{"svg_refused", "svg_handler", "svg_callout", "svg_outside", "svg_refused"}},
		{"a document type and what follows", pictureFolder("", "§<!DOCTYPE svg><svg xmlns=\"http://www.w3.org/2000/svg\">\n§<script/></svg>"), []string{"svg_doctype", "svg_refused"}},
		{"a translated step", translated("## Procedure\n1. One {#a}\n", "## Procedimiento\n1. §§§Uno {#a .hold each=\"wheel\" if=\"abs\"}\n"), []string{"translation_differs", "translation_differs", "translation_differs"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			asks(t, r.fsys, r.codes...)
		})
	}
}
