package curriculum

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"
)

// Test folders are small: a programme with task t, lesson l, vehicle v. In the text of a test, § marks the place at
// which the problem must stand; it is taken out before the folder is read.

const testProgramme = `title: Test
languages: [en]
units: si
tasks:
  - {id: t, title: A task, lessons: [l], prerequisites: []}
`

const testVehicle = `---
id: v
title: A car
language: en
layout: split
features: [abs]
wheels: {LF: [front, disc], RF: [front, disc], LR: [rear, drum], RR: [rear, drum]}
orders: {bleed: [RR, LR, RF, LF]}
---
## Figures
| Key | Quantity | Value | Unit | Limit | Source |
|---|---|---|---|---|---|
| nut.torque | Nut torque | 110 | N·m | | invented |
| rotor.front.minimum | Front rotor | 20 | mm | minimum | invented |
| rotor.rear.minimum | Rear rotor | 8.5 | mm | minimum | invented |
| rod.clearance | Clearance | 0.1–0.4 | mm | range | invented |
| rotor.runout | Runout | 0.06 | mm | maximum | invented |
`

const testFront = "---\nid: l\ntitle: A lesson\nlanguage: en\ntasks: [t]\n---\n"

// testFolder is the plain folder with some files changed; "" takes a file out.
func testFolder(changes map[string]string) fstest.MapFS {
	files := map[string]string{
		"programme.yaml": testProgramme,
		"lessons/l.md":   testFront + "# A lesson\n",
		"vehicles/v.md":  testVehicle,
	}
	maps.Copy(files, changes)
	out := fstest.MapFS{}
	for path, text := range files {
		if text != "" {
			out[path] = &fstest.MapFile{Data: []byte(text)}
		}
	}
	return out
}

// lessonFolder is the plain folder with a body for its lesson.
func lessonFolder(body string) fstest.MapFS {
	return testFolder(map[string]string{"lessons/l.md": testFront + body})
}

// takeMark removes the § of a folder and returns where it stood.
func takeMark(t *testing.T, fsys fstest.MapFS) (file string, line, column int) {
	t.Helper()
	for _, path := range slices.Sorted(maps.Keys(fsys)) {
		before, after, ok := strings.Cut(string(fsys[path].Data), "§")
		if !ok {
			continue
		}
		fsys[path].Data = []byte(before + after)
		lastLine := before[strings.LastIndexByte(before, '\n')+1:]
		return path, strings.Count(before, "\n") + 1, utf8.RuneCountInString(lastLine) + 1
	}
	return "", 0, 0
}

func mustLoad(t *testing.T, fsys fs.FS) *Programme {
	t.Helper()
	p, problems := Load(fsys)
	for _, x := range problems {
		if x.Severity == Error {
			t.Fatalf("unexpected problem: %s", show(x))
		}
	}
	return p
}

func show(p Problem) string {
	return fmt.Sprintf("%s:%d:%d %s %s %v", p.File, p.Line, p.Column, p.Severity, p.Code, p.Args)
}

func table(head string, rows ...string) string {
	n := strings.Count(head, "|") - 1
	return head + "\n|" + strings.Repeat("---|", n) + "\n" + strings.Join(rows, "\n") + "\n"
}

const (
	cautionHead = "| Hazard | Consequence | Control |"
	toolHead    = "| Item | Use | Wrong choice |"
	faultHead   = "| Symptom | Cause | Check that tells |"
	figureHead  = "| Quantity | Value | Unit | Limit | Source |"
)

func figureLesson(row string) fstest.MapFS {
	return lessonFolder("## Figures\n" + table(figureHead, row))
}
func stepLesson(list string) fstest.MapFS { return lessonFolder("## Procedure\n" + list) }
func sumLesson(yaml string) fstest.MapFS {
	return lessonFolder("## Arithmetic\n```sum\n" + yaml + "```\n")
}

const sumHead = "ask: How much?\n"
const sumTail = "rounding: 1\ntolerance: 0.5\n"

func programmeWith(old, new string) fstest.MapFS {
	return testFolder(map[string]string{"programme.yaml": strings.Replace(testProgramme, old, new, 1)})
}

func vehicleWith(old, new string) fstest.MapFS {
	return testFolder(map[string]string{"vehicles/v.md": strings.Replace(testVehicle, old, new, 1)})
}

const goodSVG = `<svg xmlns="http://www.w3.org/2000/svg"><g class="callout"><text>1</text></g></svg>`

func pictureFolder(body, svg string) fstest.MapFS {
	return testFolder(map[string]string{"lessons/l.md": testFront + body, "pictures/p.svg": svg})
}

const pictureTable = "| Number | Part |\n|---|---|\n| 1 | Hub |\n"

// policyFolder has a policy and a blueprint beside the task.
func policyFolder(policy, blueprint string) fstest.MapFS {
	text := testProgramme + "policy:\n" + policy
	if blueprint != "" {
		text += "blueprints:\n" + blueprint
	}
	return testFolder(map[string]string{"programme.yaml": text})
}

// translated has Spanish as a second language and a Spanish lesson.
func translated(body, spanish string) fstest.MapFS {
	es := strings.Replace(testFront, "language: en", "language: es", 1)
	return testFolder(map[string]string{
		"programme.yaml":  strings.Replace(testProgramme, "[en]", "[en, es]", 1),
		"lessons/l.md":    testFront + body,
		"lessons/es/l.md": es + spanish,
	})
}

type problemCase struct {
	code string
	fs   fstest.MapFS
}

func problemCases() []problemCase {
	deep := strings.Repeat("> ", 30)
	long := strings.TrimSpace(strings.Repeat("word ", 26))
	many := ""
	for i := range 301 {
		many += fmt.Sprintf("- Step {#s%d}\n", i)
	}
	many = strings.Replace(many, "Step {#s300}", "§Step {#s300}", 1)
	return []problemCase{
		// Files.
		{"no_programme", testFolder(map[string]string{"programme.yaml": ""})},
		{"same_but_for_case", testFolder(map[string]string{"pictures/Rotor.svg": goodSVG, "pictures/rotor.svg": "§" + goodSVG})},
		{"same_but_for_case", testFolder(map[string]string{"lessons/L.md": testFront + "# A lesson\n", "lessons/l.md": "§" + testFront + "# A lesson\n"})},
		{"file_unused", testFolder(map[string]string{"pictures/notes.md": "§Notes."})},
		{"language_folder", testFolder(map[string]string{"lessons/fr/l.md": "§---\n"})},
		{"bad_utf8", lessonFolder("caf§\xe9\n")},
		{"byte_order_mark", testFolder(map[string]string{"lessons/l.md": "\uFEFF" + testFront})},
		{"nul_byte", lessonFolder("é§\x00\n")},
		{"lone_cr", lessonFolder("one§\rtwo\n")},
		{"bidi_control", lessonFolder("one§\u202Etwo\n")},
		{"line_too_long", lessonFolder("§" + strings.Repeat("a", 70000))},
		{"block_too_long", lessonFolder("\n§" + strings.Repeat("word word word\n", 10000))},
		{"too_many_marks", lessonFolder("one\n\n§" + strings.Repeat("*a_ b\n", 1100))},
		{"table_too_wide", lessonFolder(strings.Repeat("|a", 50) + "\n§" + strings.Repeat("|-", 50) + "\n")},
		{"nested_too_deep", lessonFolder("§" + deep + "x\n")},
		{"file_too_large", testFolder(map[string]string{"lessons/l.md": "§" + strings.Repeat("a\n", 3<<20)})},
		{"no_front_matter", testFolder(map[string]string{"lessons/l.md": "§# A lesson\n"})},

		// YAML.
		{"yaml_unreadable", programmeWith("[en]\nunits", "[en\nunits§")},
		{"yaml_too_deep", programmeWith("title: Test", "§title: "+strings.Repeat("[", 200))},
		{"yaml_alias", programmeWith("title: Test", "title: §&x Test")},
		{"yaml_not_a_mapping", programmeWith("{id: t, title: A task, lessons: [l], prerequisites: []}", "§t")},
		{"yaml_not_a_list", programmeWith("[en]", "§en")},
		{"yaml_not_a_list", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: a\n" + sumTail + "slips:\n  §forgot: a\n")},
		{"yaml_not_text", programmeWith("title: Test", "title: §[Test]")},
		{"unknown_key", programmeWith("units", "§unitz")},
		{"unknown_key", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "tasks", "§taks", 1)})},
		{"duplicate_key", programmeWith("units: si", "units: si\n§units: si")},
		{"missing_key", programmeWith("units: si\n", "")},
		{"duplicate_entry", programmeWith("[en]", "[en, §en]")},
		{"bad_choice", programmeWith("units: si", "units: §metric")},
		{"bad_language", programmeWith("[en]", "[§English]")},
		{"bad_id", programmeWith("id: t,", "id: §'a/b',")},
		{"yaml_not_whole", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "tasks: [t]", "tasks: [t]\nminutes: §soon", 1)})},

		// Programme.
		{"duplicate_id", programmeWith("  - {", "  - {id: t, title: One, lessons: [l]}\n  - {")},
		{"duplicate_lesson", testFolder(map[string]string{"lessons/m.md": strings.Replace(testFront, "id: l", "id: §l", 1)})},
		{"duplicate_vehicle", testFolder(map[string]string{"vehicles/w.md": strings.Replace(testVehicle, "id: v", "id: §v", 1)})},
		{"unknown_task", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "[t]", "[t, §u]", 1)})},
		{"unknown_task", policyFolder("  induction: §nothing\n", "")},
		{"unknown_lesson", programmeWith("[l]", "[l, §m]")},
		{"unknown_lesson", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "tasks: [t]", "tasks: [t]\nprerequisites: [§m]", 1)})},
		{"task_disagrees", programmeWith("[l]", "[]")},
		{"task_disagrees", testFolder(map[string]string{"lessons/m.md": strings.Replace(strings.Replace(testFront, "id: l", "id: m", 1), "[t]", "[§t]", 1)})},
		{"prerequisite_cycle", programmeWith("prerequisites: []", "prerequisites: [§t]")},
		{"prerequisite_cycle", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "tasks: [t]", "tasks: [t]\nprerequisites: [§l]", 1)})},
		{"unknown_blueprint", policyFolder("  tasks:\n    t: {jobs: 1, supervisors: 1, recency_days: 90, lapse_days: 90, theory_test: {blueprint: §b, pass_percent: 80}}\n", "")},
		{"blueprint_of_other_task", testFolder(map[string]string{"programme.yaml": strings.Replace(testProgramme, "  - {", "  - {id: u, title: Other, lessons: []}\n  - {", 1) +
			"policy:\n  tasks:\n    t: {jobs: 1, supervisors: 1, recency_days: 90, lapse_days: 90, theory_test: {blueprint: §b, pass_percent: 80}}\n" +
			"blueprints:\n  - {id: b, task: u, questions: 1, lessons: {}, critical_steps: none}\n"})},
		{"blueprint_too_many", policyFolder("  target: 0.95\n", "  - {id: b, task: t, questions: §1, lessons: {l: 2}, critical_steps: none}\n")},
		{"blueprint_lesson_outside", testFolder(map[string]string{
			"programme.yaml": strings.Replace(testProgramme, "  - {", "  - {id: u, title: Other, lessons: []}\n  - {", 1) + "blueprints:\n  - {id: b, task: u, questions: 1, lessons: {§l: 1}, critical_steps: none}\n"})},
		{"blueprint_critical", testFolder(map[string]string{
			"programme.yaml": testProgramme + "blueprints:\n  - {id: b, task: t, questions: §1, lessons: {l: 1}, critical_steps: all}\n",
			"lessons/l.md":   testFront + "## Procedure\n- One {#a .critical}\n  - **If skipped:** x\n- Two {#b .critical}\n  - **If skipped:** y\n"})},
		{"policy_unknown_key", policyFolder("  §targett: 0.95\n", "")},
		{"gate_supervisors", policyFolder("  supervisors_available: 1\n  tasks:\n    t: {jobs: 1, supervisors: §2, recency_days: 90, lapse_days: 90}\n", "")},
		{"gate_layouts", policyFolder("  tasks:\n    t: {jobs: 1, supervisors: 1, layouts: §2, recency_days: 90, lapse_days: 90}\n", "")},
		{"gate_recency", policyFolder("  tasks:\n    t: {jobs: 1, supervisors: 1, recency_days: §20, lapse_days: 90, jobs_per_month: 1}\n", "")},
		{"gate_lapse", policyFolder("  tasks:\n    t: {jobs: 1, supervisors: 1, recency_days: 90, lapse_days: §20, jobs_per_month: 1}\n", "")},
		{"gate_jobs", policyFolder("  tasks:\n    t: {jobs: §30, supervisors: 1, recency_days: 90, lapse_days: 90, jobs_per_month: 1}\n", "")},
		{"wrong_language", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "language: en", "language: §es", 1)})},

		{"yaml_colon", programmeWith("title: Test", "title: Wheels§: front and rear")},
		{"yaml_colon", testFolder(map[string]string{"lessons/l.md": strings.Replace(testFront, "A lesson", "Räder§: vorn", 1)})},
		{"yaml_tab", programmeWith("  - {", "§\t- {")},
		{"bad_attributes", stepLesson("1. One {#a}\n2. Two {#b§, .hold}\n")},
		{"bad_attributes", stepLesson("1. One {#a}\n2. Two §{#b}.\n")},
		{"bad_attributes", stepLesson("1. One §{#a\n")},
		{"bad_attributes", stepLesson("1. One {#a}\n2. Two {#b after=§“a”}\n")},
		{"point_outside", stepLesson("1. One {#a}\n  - §**Why:** x\n")},
		{"list_indent", stepLesson("1. One {#a}\n  - §Sub {#b}\n")},
		{"list_indent", stepLesson("1. One {#a}\n   1. Sub {#b .critical}\n     - §**If skipped:** x\n")},
		{"table_unread", lessonFolder("## Dangers\n" + table("§"+cautionHead, "| a | b | c |"))},
		{"table_unread", lessonFolder("### Faults\n" + table("§| Síntoma | Causa | Comprobación que distingue |", "| a | b | c |"))},
		{"braces_unread", lessonFolder("## Steps\n1. One §{#a .critical}\n")},
		{"braces_unread", lessonFolder("## Procedure\n\n**1. One** §{#a}\n\n1. Two {#b}\n")},
		{"extra_cell", lessonFolder("## Cautions\n" + table(cautionHead, "| a | b | c | §d |"))},
		{"extra_cell", lessonFolder("## Cautions\n" + "Hazard | Consequence | Control\n---|---|---\na | b | c \\| c | §d\n")},
		{"unknown_column", lessonFolder("## Faults\n" + table("| Symptom | Cause | §Check |", "| a | b | c |"))},
		{"picture_not_svg", lessonFolder("Look: §![hub](../pictures/hub.png)\n")},

		// Headings and tables.
		{"unknown_class", lessonFolder("## §Steps {.procedur}\n")},
		{"heading_level", lessonFolder("### §Faults {.faults}\n")},
		{"section_empty", lessonFolder("## §Faults\n\nProse.\n")},
		{"section_empty", lessonFolder("## §Terms\n\n- **Hub**: the part that turns\n")},
		{"unknown_column", lessonFolder("## Cautions\n" + table("| §Hazzard | Consequence | Control |", "| a | b | c |"))},
		{"duplicate_column", lessonFolder("## Cautions\n" + table("| Hazard | Consequence | §Hazard | Control |", "| a | b | c | d |"))},
		{"missing_column", lessonFolder("## Cautions\n" + table("§| Hazard | Consequence |", "| a | b |"))},
		{"column_order", lessonFolder("## Cautions\n" + table("| Hazard | Control | §Consequence |", "| a | b | c |"))},
		{"empty_cell", lessonFolder("## Cautions\n" + table(cautionHead, "| a | b | §|"))},
		{"wrong_choice_shape", lessonFolder("## Tools and materials\n" + table(toolHead, "| a | b | §no colon |"))},
		{"duplicate_row", lessonFolder("## Cautions\n" + table(cautionHead, "| a | b | c |", "§| a | b | c |"))},
		{"same_first_cell", lessonFolder("## Cautions\n" + table(cautionHead, "| a | b | c |", "§| a | d | e |"))},
		{"duplicate_row", lessonFolder("## Faults\n" + table(faultHead, "| a | b | c |", "§| a | b | d |"))},
		{"faults_share_check", lessonFolder("## Faults\n" + table(faultHead, "| a | b | c |", "§| a | d | c |"))},
		{"duplicate_figure", lessonFolder("## Figures\n" + table(figureHead, "| a | 1 | mm | | s |", "§| a | 2 | mm | | s |"))},
		{"no_source", figureLesson("| a | 1 | mm | | §|")},
		{"bad_decimal", figureLesson("| a | §0,35 | mm | | s |")},
		{"range_dash", figureLesson("| a | §0.1-0.4 | mm | range | s |")},
		{"range_reversed", figureLesson("| a | §0.4–0.1 | mm | range | s |")},
		{"unknown_unit", figureLesson("| a | 1 | §Nm | | s |")},
		{"unknown_limit", figureLesson("| a | 1 | mm | §at least | s |")},
		{"limit_mismatch", figureLesson("| a | 1 | mm | §range | s |")},
		{"bad_key", lessonFolder("## Figures\n" + table("| Key | Quantity | Value | Unit | Limit | Source |", "| §a b | a | 1 | mm | | s |"))},
		{"duplicate_term", lessonFolder("## Terms\n\nhub\n:   a mount\n\n§hub\n:   a thing\n")},
		{"misbelief_shape", lessonFolder("## Misbeliefs\n- §**Said:** something\n")},
		{"long_sentence", lessonFolder("Short one. §" + long + ".\n")},
		{"raw_html", lessonFolder("one §<br> two\n")},
		{"raw_html", lessonFolder("§<div>\ntwo\n</div>\n")},
		{"bidi_control", lessonFolder("one §&#x202E;two\n")},
		{"bidi_control", lessonFolder("one §&rlm;two\n")},
		{"bidi_control", programmeWith("title: Test", "title: §\"a\\u202Eb\"")},
		{"link_to_nowhere", lessonFolder("See §[this](other.md).\n")},
		{"link_to_nowhere", lessonFolder("See §[this](../vehicles/w.md).\n")},
		{"link_to_nowhere", lessonFolder("See §[this](#procedure/b).\n\n## Procedure\n1. One {#a}\n")},
		{"link_to_nowhere", lessonFolder("See §[this](l.md#procedure/b).\n\n## Procedure\n1. One {#a}\n")},
		{"link_refused", lessonFolder("See §[this](javascript:alert).\n")},

		// Pictures.
		{"picture_without_words", pictureFolder("§![](../pictures/p.svg)\n", goodSVG)},
		{"picture_outside", lessonFolder("Look: §![hub](https://example.org/x.svg)\n")},
		{"picture_outside", lessonFolder("§![hub](../../x.svg)\n")},
		{"picture_missing", pictureFolder("§![hub](../pictures/q.svg)\n", goodSVG)},
		{"picture_without_table", pictureFolder("## Pictures\n§![hub](../pictures/p.svg)\n", goodSVG)},
		{"table_without_picture", lessonFolder("## Pictures\n§" + pictureTable)},
		{"duplicate_number", pictureFolder("## Pictures\n![hub](../pictures/p.svg)\n\n"+pictureTable+"| §1 | Rim |\n", goodSVG)},
		{"duplicate_part", pictureFolder("## Pictures\n![hub](../pictures/p.svg)\n\n"+pictureTable+"| 2 | §Hub |\n", goodSVG)},
		{"number_not_in_drawing", pictureFolder("## Pictures\n![hub](../pictures/p.svg)\n\n"+pictureTable+"| §2 | Rim |\n", goodSVG)},
		{"number_not_in_table", pictureFolder("## Pictures\n§![hub](../pictures/p.svg)\n\n"+pictureTable, strings.Replace(goodSVG, "</svg>", `<g class="callout"><text>2</text></g></svg>`, 1))},
		{"callout_twice", pictureFolder("", "§"+strings.Replace(goodSVG, "</svg>", `<g class="callout"><text>1</text></g></svg>`, 1))},
		{"svg_unreadable", pictureFolder("", "<svg xmlns=\"http://www.w3.org/2000/svg\">\n§<g></svg>")},
		{"svg_doctype", pictureFolder("", "§<!DOCTYPE svg>"+goodSVG)},
		{"svg_refused", pictureFolder("", strings.Replace(goodSVG, "<g", "§<script/><g", 1))},
		{"svg_handler", pictureFolder("", strings.Replace(goodSVG, "<g", "§<g onclick='x'", 1))},
		{"svg_outside", pictureFolder("", strings.Replace(goodSVG, "<g", "§<use href='x.svg#a'/><g", 1))},
		{"svg_callout", pictureFolder("", strings.Replace(goodSVG, "<text>1</text></g>", "§</g>", 1))},

		// Steps.
		{"step_without_id", stepLesson("1. §Clean the cap\n")},
		{"step_without_text", stepLesson("1. §{#a}\n")},
		{"bad_attributes", stepLesson("1. Clean {#a after=§\"b}\n")},
		{"unknown_attribute", stepLesson("1. Clean {#a §.kritical}\n")},
		{"unknown_attribute", stepLesson("1. Clean {#a §critical}\n")},
		{"unknown_attribute", stepLesson("1. Clean {#a §aftr=\"a\"}\n")},
		{"duplicate_attribute", stepLesson("1. Clean {#a §#b}\n")},
		{"bad_id", stepLesson("1. Clean {§#a.b}\n")},
		{"duplicate_step", stepLesson("1. Clean {#a}\n2. Dry {§#a}\n")},
		{"unknown_step", stepLesson("1. Clean {#a after=\"§bb\"}\n")},
		{"cycle", stepLesson("- One {#a after=\"§b\"}\n- Two {#b after=\"a\"}\n")},
		{"cycle", stepLesson("1. One {#a after=\"§c\"}\n2. Two {#b}\n3. Three {#c}\n")},
		{"cycle", stepLesson("1. One {#a}\n   1. Sub {#b after=\"§a\"}\n")},
		{"after_implied", stepLesson("- One {#a}\n- Two {#b after=\"a\"}\n- Three {#c after=\"§a b\"}\n")},
		{"after_implied", stepLesson("- One {#a}\n- Two {#b after=\"a\"}\n  - Sub {#c after=\"§a\"}\n")},
		{"after_repeats_list", stepLesson("1. One {#a}\n2. Two {#b after=\"§a\"}\n")},
		{"mixed_list", stepLesson("1. One {#a}\n   - §**Why:** x\n   - Sub {#b}\n")},
		{"points_numbered", stepLesson("1. One {#a}\n   1. §**Why:** x\n")},
		{"unknown_point", stepLesson("1. One {#a}\n   - §**Whi:** x\n")},
		{"empty_point", stepLesson("1. One {#a}\n   - §**Why:**\n")},
		{"point_with_attributes", stepLesson("1. One {#a}\n   - **Why:** x §{#b}\n")},
		{"critical_without_consequence", stepLesson("1. §One {#a .critical}\n")},
		{"critical_without_consequence", stepLesson("1. §One {#a .critical}\n   - Sub {#b}\n")},
		{"measure_unknown", stepLesson("1. One {#a}\n   - §**Measure:** Depth\n")},
		{"measure_which", stepLesson("1. One {#a}\n   - §**Measure:** [nut](vehicle:nut.torque); twice\n")},
		{"too_many_steps", stepLesson(many)},
		{"steps_too_deep", stepLesson("- a {#a}\n  - b {#b}\n    - c {#c}\n      - d {#d}\n        - e {#e}\n          - f {#f}\n            - §g {#g}\n")},

		// Steps and cars.
		{"bad_each", stepLesson("1. One {#a each=\"§wheels\"}\n")},
		{"each_conflict", stepLesson("1. One {#a each=\"wheel\"}\n   1. §Sub {#b each=\"wheel in bleed\"}\n")},
		{"unknown_feature", stepLesson("1. One {#a if=\"§abss\"}\n")},
		{"unknown_feature", lessonFolder("## Cautions\n" + table("| Hazard | Consequence | Control | If |", "| a | b | c | §abss |"))},
		{"feature_of_wheels", stepLesson("1. §One {#a if=\"drum\"}\n")},
		{"step_for_no_car", stepLesson("1. §One {#a each=\"wheel\" if=\"drum disc\"}\n")},
		{"unknown_order", stepLesson("1. One {#a each=\"§wheel in blead\"}\n")},
		{"order_missing", testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n1. One {#a each=\"§wheel in bleed\"}\n",
			"vehicles/w.md": strings.Replace(strings.Replace(testVehicle, "id: v", "id: w", 1), "orders: {bleed: [RR, LR, RF, LF]}\n", "", 1)})},
		{"order_leaves_out", testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n1. One {#a each=\"§wheel in bleed\"}\n",
			"vehicles/v.md": strings.Replace(testVehicle, "[RR, LR, RF, LF]", "[RR, LR, RF]", 1)})},
		{"unknown_vehicle_key", lessonFolder("The §[torque](vehicle:nut.tork) it is.\n")},
		{"bad_key", lessonFolder("The §[torque](vehicle:nut..torque) it is.\n")},
		{"vehicle_lacks_key", testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n1. To §[torque](vehicle:nut.torque) {#a}\n",
			"vehicles/w.md": strings.Replace(strings.Replace(testVehicle, "id: v", "id: w", 1), "nut.torque", "bolt.torque", 1)})},
		{"axle_without_wheel", stepLesson("1. One {#a}\n   - §**Measure:** [rotor](vehicle:rotor.{axle}.minimum)\n")},
		{"unit_mismatch", testFolder(map[string]string{"vehicles/w.md": strings.Replace(strings.Replace(testVehicle, "id: v", "id: w", 1), "| nut.torque | Nut torque | 110 | N·m", "§| nut.torque | Nut torque | 110 | mm", 1)})},
		{"limit_differs", testFolder(map[string]string{"vehicles/w.md": strings.Replace(strings.Replace(testVehicle, "id: v", "id: w", 1), "| rotor.runout | Runout | 0.06 | mm | maximum", "§| rotor.runout | Runout | 0.06 | mm | minimum", 1)})},
		{"unknown_wheel", vehicleWith("[RR, LR", "[RR, §RL, LR")},
		{"sheet_without_figures", vehicleWith("## Figures", "## Other")},
		{"duplicate_id", vehicleWith("| rotor.rear.minimum", "| §rotor.front.minimum")},

		// Sums.
		{"sum_outside", lessonFolder("## Background\n```§sum\nask: x\n```\n")},
		{"bad_given_name", sumLesson(sumHead + "given: {§pi: {what: x, values: [1]}}\nfind: pi\n" + sumTail)},
		{"given_shape", sumLesson(sumHead + "given: {a: §10 kg}\nfind: a\n" + sumTail)},
		{"given_shape", sumLesson(sumHead + "given: {§a: {what: x, from: 1, to: 2}}\nfind: a\n" + sumTail)},
		{"given_unused", sumLesson(sumHead + "given: {a: {what: x, values: [1]}, §b: {what: y, values: [1]}}\nfind: a\n" + sumTail)},
		{"given_is_range", sumLesson(sumHead + "given: {§a: {what: x, unit: mm, vehicle: rod.clearance}}\nfind: a\n" + sumTail)},
		{"unit_mismatch", sumLesson(sumHead + "given: {§a: {what: x, unit: s, vehicle: nut.torque}}\nfind: a\n" + sumTail)},
		{"unknown_vehicle_key", sumLesson(sumHead + "given: {§a: {what: x, unit: s, vehicle: nut.turque}}\nfind: a\n" + sumTail)},
		{"too_many_values", sumLesson(sumHead + "given: {§a: {what: x, from: 0, to: 1000, step: 1}}\nfind: a\n" + sumTail)},
		{"not_positive", sumLesson(sumHead + "given: {§a: {what: x, from: 0, to: 10, step: 0}}\nfind: a\n" + sumTail)},
		{"range_reversed", sumLesson(sumHead + "given: {§a: {what: x, from: 10, to: 1, step: 1}}\nfind: a\n" + sumTail)},
		{"formula_unreadable", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: §a * (\n" + sumTail)},
		{"formula_not_allowed", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: a §% 2\n" + sumTail)},
		{"formula_not_allowed", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: \"a §% 2\"\n" + sumTail)},
		{"formula_bad_number", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: a + §1e3\n" + sumTail)},
		{"formula_too_long", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: §a" + strings.Repeat("+a", 300) + "\n" + sumTail)},
		{"formula_unknown_name", sumLesson(sumHead + "given: {aa: {what: x, values: [1]}}\nfind: aa + §ab\n" + sumTail)},
		{"formula_unknown_function", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: §sin(a)\n" + sumTail)},
		{"formula_arguments", sumLesson(sumHead + "given: {a: {what: x, values: [1]}}\nfind: §sqrt(a, a)\n" + sumTail)},
		{"unknown_unit", sumLesson(sumHead + "given: {a: {what: x, unit: §Nm, values: [1]}}\nfind: a\n" + sumTail)},
		{"sum_divides_by_zero", sumLesson(sumHead + "given: {a: {what: x, from: 0, to: 2, step: 1}}\nfind: §1 / a\n" + sumTail)},
		{"sum_root_of_negative", sumLesson(sumHead + "given: {a: {what: x, values: [1, -1]}}\nfind: §sqrt(a)\n" + sumTail)},
		{"sum_bad_exponent", sumLesson(sumHead + "given: {a: {what: x, values: [0.5]}}\nfind: §2 ^ a\n" + sumTail)},
		{"sum_out_of_range", sumLesson(sumHead + "given: {a: {what: x, values: [64]}}\nfind: §10 ^ a\n" + sumTail)},
		{"sum_unit", sumLesson(sumHead + "given: {T: {what: x, unit: N·m, values: [1]}, L: {what: y, unit: m, values: [2]}}\nfind: T * L\nunit: §N\n" + sumTail)},
		{"sum_unit_size", sumLesson(sumHead + "given: {T: {what: x, unit: N·m, values: [1]}, L: {what: y, unit: mm, values: [2]}}\nfind: T / L\nunit: §N\n" + sumTail)},
		{"slip_is_right", sumLesson(sumHead + "given: {a: {what: x, values: [1, 2]}}\nfind: a + a\n" + sumTail + "slips: [{formula: §2 * a, means: y}]\n")},
		{"slip_sometimes_right", sumLesson(sumHead + "given: {a: {what: x, values: [1, 2, 3]}}\nfind: a + a\n" + sumTail + "slips: [{formula: §a * a, means: y}]\n")},
		{"slips_coincide", sumLesson(sumHead + "given: {a: {what: x, values: [1, 2]}}\nfind: a\n" + sumTail + "slips: [{formula: a + 10, means: y}, {formula: §11 * a, means: z}]\n")},
		{"slip_fails", sumLesson(sumHead + "given: {a: {what: x, values: [0, 2]}}\nfind: a\n" + sumTail + "slips: [{formula: §9 / a, means: y}]\n")},
		{"tolerance_below_rounding", sumLesson(sumHead + "given: {a: {what: x, values: [2]}}\nfind: §a\nrounding: 1\ntolerance: 0.1\n")},

		// Translations.
		{"not_translated", testFolder(map[string]string{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, es]", 1),
			"lessons/l.md":    strings.Replace(testFront, "id: l", "id: §l", 1),
			"lessons/es/m.md": strings.Replace(strings.Replace(testFront, "id: l", "id: m", 1), "language: en", "language: es", 1)})},
		{"translation_of_nothing", testFolder(map[string]string{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, es]", 1),
			"lessons/es/m.md": strings.Replace(strings.Replace(testFront, "id: l", "id: §m", 1), "language: en", "language: es", 1)})},
		{"translation_lacks", testFolder(map[string]string{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, es]", 1),
			"lessons/l.md":    testFront + "## Procedure\n1. One {#a}\n",
			"lessons/es/l.md": strings.Replace(strings.Replace(testFront, "id: l", "id: §l", 1), "language: en", "language: es", 1)})},
		{"translation_adds", translated("# x\n", "## Procedimiento\n1. §Uno {#a}\n")},
		{"translation_differs", translated("## Procedure\n1. One {#a}\n", "## Procedimiento\n1. §Uno {#a .hold}\n")},
		{"translation_differs", translated("## Procedure\n1. One {#a}\n2. Two {#b}\n", "## Procedimiento\n- §Uno {#a}\n- Dos {#b}\n")},
		{"translation_count", translated("## Cautions\n"+table(cautionHead, "| a | b | c |", "| d | e | f |"), "§## Precauciones\n"+table("| Peligro | Consecuencia | Control |", "| a | b | c |"))},
	}
}

// TestProblems reads a small folder for each code and looks for it at its place.
func TestProblems(t *testing.T) {
	known := map[string]CodeInfo{}
	for _, c := range Codes() {
		known[c.Code] = c
	}
	for i, c := range problemCases() {
		t.Run(fmt.Sprintf("%03d-%s", i, c.code), func(t *testing.T) {
			file, line, column := takeMark(t, c.fs)
			problems := Lint(c.fs)
			var found []Problem
			for _, p := range problems {
				if p.Code == c.code {
					found = append(found, p)
				}
			}
			if len(found) == 0 {
				t.Fatalf("no %s; got %v", c.code, shows(problems))
			}
			if file != "" && (found[0].File != file || found[0].Line != line || found[0].Column != column) {
				t.Errorf("got %s, want it at %s:%d:%d", show(found[0]), file, line, column)
			}
			info, ok := known[c.code]
			if !ok {
				if !strings.HasPrefix(c.code, "policy_") {
					t.Fatalf("%s is not listed in Codes", c.code)
				}
				return
			}
			for _, p := range found {
				if got := sortedKeys(p.Args); !slices.Equal(got, info.Args) && len(got)+len(info.Args) > 0 {
					t.Errorf("arguments of %s are %v, want %v", c.code, got, info.Args)
				}
			}
			if found[0].Severity != info.Severity {
				t.Errorf("%s is %s, want %s", c.code, found[0].Severity, info.Severity)
			}
		})
	}
}

func shows(ps []Problem) string {
	var out []string
	for _, p := range ps {
		out = append(out, show(p))
	}
	return strings.Join(out, "\n")
}

// TestEveryCodeListed compares the codes in the source with the list.
func TestEveryCodeListed(t *testing.T) {
	listed := map[string]bool{}
	for _, c := range Codes() {
		if listed[c.Code] {
			t.Errorf("%s is listed twice", c.Code)
		}
		listed[c.Code] = true
		if !slices.IsSorted(c.Args) {
			t.Errorf("arguments of %s are not sorted", c.Code)
		}
	}
	tested := map[string]bool{}
	for _, c := range problemCases() {
		tested[c.code] = true
	}
	// Exercised by tests of their own: a described car, hostile folders, what only a broken file system brings about.
	for _, c := range []string{"unknown_layout", "car_missing", "wheel_contradicts", "too_many_files", "folder_too_large", "too_many_problems", "too_much_to_check", "folder_unreadable",
		"file_unreadable", "not_plain_file", "unknown_family", "svg_too_large", "order_contradiction", "term_without_definition"} {
		tested[c] = true
	}
	used := map[string]bool{}
	literal := regexp.MustCompile(`"([a-z]+(?:_[a-z0-9]+)+|cycle)"`)
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") || f.Name() == "codes.go" || f.Name() == "change.go" || f.Name() == "change_show.go" { // a diff has codes of its own
			continue
		}
		b, err := os.ReadFile(f.Name())
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range literal.FindAllStringSubmatch(string(b), -1) {
			used[m[1]] = true
		}
	}
	for code := range listed {
		if !used[code] {
			t.Errorf("%s is listed but not used", code)
		}
		if !tested[code] {
			t.Errorf("%s has no test", code)
		}
	}
	keys := map[string]bool{"critical_steps": true, "recency_days": true, "lapse_days": true, "theory_test": true, "jobs_per_month": true, "supervisors_available": true}
	for code := range used {
		if !listed[code] && !keys[code] {
			t.Errorf("%s is used but not listed", code)
		}
	}
}
