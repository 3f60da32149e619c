package curriculum

import (
	"strings"
	"testing"
	"testing/fstest"
)

// TestGrammar goes through the lesson format rule by rule: kept, it lints without a word; broken, each fault is reported at its place (§)
// and nothing else is. What the rules mean is tested where it is worked out: orders in order_test.go, pages in page_test.go, sums in
// number_test.go, cars in car_test.go.
func TestGrammar(t *testing.T) {
	type folder = map[string]string
	with := strings.NewReplacer
	yaml := func(pairs ...string) fstest.MapFS {
		return testFolder(folder{"programme.yaml": with(pairs...).Replace(testProgramme)})
	}
	front := func(pairs ...string) fstest.MapFS {
		return testFolder(folder{"lessons/l.md": with(pairs...).Replace(testFront)})
	}
	sheet := func(pairs ...string) fstest.MapFS {
		return testFolder(folder{"vehicles/v.md": with(pairs...).Replace(testVehicle)})
	}
	cars := func(body string, pairs ...string) fstest.MapFS { // beside the first a second car that differs
		return testFolder(folder{"lessons/l.md": testFront + body, "vehicles/w.md": with(append(pairs, "id: v", "id: w")...).Replace(testVehicle)})
	}
	none := func(body string) fstest.MapFS { // without any car
		return testFolder(folder{"lessons/l.md": testFront + body, "vehicles/v.md": ""})
	}
	const policy = "policy:\n  target: 0.95\n  confidence: 0.9\n  job_mix: {routine: 0.3, usual: 0.5, awkward: 0.2}\n  induction: t\n  supervisors_available: 3\n  backdating_days: 14\n" +
		"  countersign_days: 7\n  review_days: 365\n  grace_days: 30\n  retention_years: 5\n" +
		"  tasks:\n    t: {target: 0.9, confidence: 0.8, jobs: 2, supervisors: 1, layouts: 1, recency_days: 90, lapse_days: 180, jobs_per_month: 2, theory_test: {blueprint: b, pass_percent: 80, watched: true}}\n"
	const blueprint = "blueprints:\n  - {id: b, task: t, questions: 3, lessons: {l: 2}, families: {undo: 1}, critical_steps: none}\n"
	whole := func(pairs ...string) fstest.MapFS { // with policy and blueprint
		return testFolder(folder{"programme.yaml": with(pairs...).Replace(testProgramme + policy + blueprint)})
	}
	two := func(pairs ...string) fstest.MapFS { // a second task and lesson
		return testFolder(folder{"programme.yaml": with(pairs...).Replace(testProgramme + "  - {id: u, title: Other, lessons: [m], prerequisites: [t]}\n"),
			"lessons/m.md": with(append(pairs, "id: l", "id: m", "[t]", "[u]\nprerequisites: [l]\nminutes: 20")...).Replace(testFront)})
	}
	spanish := func(file string, original ...string) fstest.MapFS {
		return testFolder(folder{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, es]", 1), "lessons/es/l.md": file,
			"lessons/l.md": testFront + strings.Join(original, "")})
	}
	const esFront = "---\nid: l\ntitle: Una\nlanguage: es\ntasks: [t]\n---\n"
	rows := func(heading, head string, rows ...string) fstest.MapFS {
		return lessonFolder("## " + heading + "\n" + table(head, rows...))
	}
	const aSum = "ask: How much?\ngiven: {a: {what: x, unit: mm, values: [1, 2]}}\nfind: 3 * a\nunit: mm\nrounding: 0.01\ntolerance: 0.02\n"
	sum := func(pairs ...string) fstest.MapFS { return sumLesson(with(pairs...).Replace(aSum)) }
	const aPicture = "## Pictures\n![hub](../pictures/p.svg)\n\n" + pictureTable
	words := func(n int) string { return strings.TrimSpace(strings.Repeat("word ", n)) + ".\n" }
	measure := func(s string) string { return "1. One {#a}\n   - **Measure:** " + s + "\n" }
	depth := "\n## Figures\n" + table(figureHead, "| Depth | 3 | mm | minimum | x |")
	critical := func(points string) fstest.MapFS { return stepLesson("1. One {#a .critical}\n" + points) }
	criticalBroken := func(points string) fstest.MapFS { return stepLesson("1. §One {#a .critical}\n" + points) }

	for _, r := range []struct {
		rule         string
		kept, broken fstest.MapFS
		codes        string
	}{
		// Folder, programme.yaml.
		{"a programme has a title", yaml(), yaml("title: Test", "title:§"), "missing_key"},
		{"the first language is the original", spanish(esFront), front("language: en", "language: §es"), "wrong_language"},
		{"languages are tags", testFolder(folder{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, pt-BR]", 1)}), yaml("[en]", "[en, §Spanish]"), "bad_language"},
		{"units are si or us", yaml("units: si", "units: us"), yaml("units: si", "units: §both"), "bad_choice"},
		{"a language's folder holds the same lessons", spanish(esFront), testFolder(folder{"programme.yaml": strings.Replace(testProgramme, "[en]", "[en, es]", 1), "lessons/es/l.md": strings.Replace(esFront, "id: l", "id: §k", 1), "lessons/l.md": strings.Replace(testFront, "id: l", "id: §l", 1)}), "translation_of_nothing not_translated"},
		{"it says its own language", spanish(esFront), spanish(strings.Replace(esFront, "language: es", "language: §en", 1)), "wrong_language"},
		{"vehicles may be absent", none("# x\n"), none("Look: §[x](vehicle:nut.torque)\n"), "unknown_vehicle_key"},
		{"drawings are files of the folder", pictureFolder("![a](../pictures/p.svg)\n", goodSVG), pictureFolder("§![a](../pictures/o.svg)\n", goodSVG), "picture_missing"},
		{"keys of a programme", whole(), whole("units: si", "units: si\n§version: 1"), "unknown_key"},
		{"keys of a task", whole(), whole("title: A task", "title: A task, §hours: 3"), "unknown_key"},
		{"keys of a policy", whole(), whole("  grace_days", "  §grace_dais"), "policy_unknown_key"},
		{"keys of a task's policy", whole(), whole("lapse_days", "§lapse_dais"), "policy_unknown_key"},
		{"keys of a theory test", whole(), whole("watched", "§wached"), "policy_unknown_key"},
		{"keys of a blueprint", whole(), whole("families", "§familys"), "unknown_key"},
		{"keys of a lesson", front("tasks: [t]", "tasks: [t]\nprerequisites: []\nminutes: 30"), front("tasks: [t]", "tasks: [t]\n§author: me"), "unknown_key"},
		{"keys of a sheet", sheet(), sheet("layout: split", "layout: split\n§maker: x"), "unknown_key"},
		{"keys of a sum", sum(), sum("rounding: 0.01", "rounding: 0.01\n§hint: x"), "unknown_key"},
		{"keys of a given", sum(), sum("what: x", "what: x, §colour: red"), "unknown_key"},
		{"line ends are LF or CRLF", yaml("\n", "\r\n"), yaml("units: si", "units: si§\r# x"), "lone_cr"},
		{"no NUL in programme.yaml", yaml(), yaml("Test", "Te§\x00st"), "nul_byte"},
		{"no NUL in a sheet", sheet(), sheet("A car", "A§\x00car"), "nul_byte"},
		{"no NUL in a drawing", pictureFolder("", goodSVG), pictureFolder("", strings.Replace(goodSVG, "<g", "§\x00<g", 1)), "nul_byte"},
		{"no direction marks in programme.yaml", yaml("Test", "Tést"), yaml("Test", "Te§\u202Est"), "bidi_control"},
		{"no direction marks in a sheet", sheet(), sheet("Nut torque", "Nut§\u2066 torque"), "bidi_control"},
		{"no direction marks in a drawing", pictureFolder("", goodSVG), pictureFolder("", strings.Replace(goodSVG, ">1<", ">1§\u200F<", 1)), "bidi_control"},
		{"UTF-8 everywhere", sheet("A car", "Ein Räderkarren"), sheet("A car", "A§\xe9r car"), "bad_utf8"},
		{"a task has an id", yaml(), testFolder(folder{"programme.yaml": strings.Replace(testProgramme, "{id: t,", "{id: §'t t',", 1), "lessons/l.md": strings.Replace(testFront, "[t]", "['t t']", 1)}), "bad_id"},
		{"prerequisites of tasks are tasks", two(), two("prerequisites: [t]", "prerequisites: [§l]"), "unknown_task"},
		{"a lesson's tasks and a task's lessons agree", two(), two("lessons: [m]", "lessons: [m, §l]"), "task_disagrees"},
		{"the policy's numbers", whole(), whole("target: 0.95", "target: §1.5", "backdating_days: 14", "backdating_days: §-1"), "policy_out_of_range policy_out_of_range"},
		{"the mix of jobs adds up to one", whole(), whole("job_mix: {routine: 0.3", "job_mix: §{routine: 0.4"), "policy_job_mix_sum"},
		{"induction is a task, or absent", whole("  induction: t\n", ""), whole("induction: t", "induction: §l"), "unknown_task"},
		{"the policy's tasks are tasks", whole(), whole("    t: {target", "    §tt: {target"), "unknown_task"},
		{"without layouts that gate is open", whole("layouts: 1, ", ""), whole("layouts: 1", "layouts: §2"), "gate_layouts"},
		{"gates can be met by the supervisors", whole("supervisors: 1", "supervisors: 3"), whole("supervisors: 1", "supervisors: §4"), "gate_supervisors"},
		{"gates can be met by the jobs", whole("jobs: 2", "jobs: 48"), whole("jobs: 2", "jobs: §49"), "gate_jobs"},
		{"a theory test names a blueprint", whole(), whole("blueprint: b,", "blueprint: §c,"), "unknown_blueprint"},
		{"a theory test needs one", whole(), whole("{blueprint: b, ", "§{"), "policy_missing"},
		{"a blueprint names a task", whole(), whole("id: b, task: t", "id: b, task: §s"), "unknown_task"},
		{"a blueprint names lessons", whole(), whole("{l: 2}", "{§m: 2}"), "unknown_lesson"},
		{"and how many questions there are", whole("questions: 3", "questions: 2"), whole("questions: 3", "questions: §1"), "blueprint_too_many"},
		{"and families that there are", whole(), whole("{undo: 1}", "{§undoo: 1}"), "unknown_family"},
		{"critical steps are all or none", whole("critical_steps: none", "critical_steps: all"), whole("critical_steps: none", "critical_steps: §some"), "bad_choice"},

		// A lesson's front and its sections.
		{"a lesson has front matter", front(), testFolder(folder{"programme.yaml": strings.Replace(testProgramme, "[l]", "[]", 1), "lessons/l.md": "§# A lesson\n"}), "no_front_matter"},
		{"with id, title, language, tasks", front(), front("---\nid: l\n", "---\n§id: l\n", "title: A lesson\n", ""), "missing_key"},
		{"minutes are a whole number", front("tasks: [t]", "tasks: [t]\nminutes: 45"), front("tasks: [t]", "tasks: [t]\nminutes: §1.5"), "yaml_not_whole"},
		{"a section is known by its class", rows("Dangers {.cautions}", cautionHead, "| a | b | c |"), rows("Dangers {.cautions}", "§| Hazard | Control |", "| a | c |"), "missing_column"},
		{"or by its words", rows("Cautions", cautionHead, "| a | b | c |"), rows("Precauciones", "§| Peligro | Control |", "| a | c |"), "missing_column"},
		{"other headings are reading matter", lessonFolder("## History\n\nOnce.\n\n### Faults\n\nNone.\n"), lessonFolder("## History\n\n" + table("§"+cautionHead, "| a | b | c |")), "table_unread"},
		{"a class is one of the table", lessonFolder("## Steps {.background}\n"), lessonFolder("## §Steps {.backgrund}\n"), "unknown_class"},
		{"only level 2 makes a section", lessonFolder("## Background\n"), lessonFolder("### §Background {.background}\n"), "heading_level"},

		// Procedure.
		{"attributes end the first line", stepLesson("1. One {#a .critical}\n   and more.\n   - **If skipped:** x\n"), stepLesson("1. §One\n   and more §{#a}\n"), "step_without_id braces_unread"},
		{"every step has an id", stepLesson("1. One {#a}\n   1. Sub {#b}\n"), stepLesson("1. One {#a}\n   1. §Sub\n"), "step_without_id"},
		{"an id is used once", stepLesson("1. One {#a}\n2. Two {#b}\n"), stepLesson("1. One {#a}\n2. Two {§#a}\n"), "duplicate_step"},
		{"unknown attributes are errors", stepLesson("1. One {#a .hold}\n"), stepLesson("1. One {#a §.holt §time=\"3\"}\n"), "unknown_attribute unknown_attribute"},
		{"after names steps or sub-steps", stepLesson("- One {#a}\n  - Sub {#b}\n- Two {#c after=\"b\"}\n"), stepLesson("- One {#a}\n- Two {#c after=\"§b a\"}\n"), "unknown_step"},
		{"after frees or replaces", stepLesson("1. One {#a}\n2. Two {#b after=\"\"}\n3. Three {#c after=\"a\"}\n"), stepLesson("1. One {#a}\n2. Two {#b after=\"§a\"}\n"), "after_repeats_list"},
		{"the order has no circle", stepLesson("- One {#a}\n- Two {#b after=\"a\"}\n"), stepLesson("- One {#a after=\"§b\"}\n- Two {#b after=\"a\"}\n"), "cycle"},
		{"points begin with a bold label", stepLesson("1. One {#a}\n   - **Why:** x\n   - **Check**: y\n   - **Si se omite:** z\n"), stepLesson("1. One {#a}\n   - §**Wy:** x\n"), "unknown_point"},
		{"points say something", stepLesson("1. One {#a}\n   - **Why:** x\n"), stepLesson("1. One {#a}\n   - §**Why:**\n"), "empty_point"},
		{"points and sub-steps in two lists", stepLesson("1. One {#a}\n   - **Why:** x\n\n   Then:\n\n   1. Sub {#b}\n"), stepLesson("1. One {#a}\n   - §**Why:** x\n   - Sub {#b}\n"), "mixed_list"},
		{"further paragraphs are reading matter", stepLesson("1. One {#a}\n\n   More of it.\n"), stepLesson("1. One {#a}\n\n   More §{#b}\n"), "braces_unread"},
		{"a critical step says what follows", critical("   - **If skipped:** x\n"), criticalBroken("   - **Why:** x\n"), "critical_without_consequence"},
		{"a restraint says it otherwise", critical("   - **If done wrong:** x\n"), criticalBroken("   - **Check:** x\n"), "critical_without_consequence"},
		{"or each of its critical sub-steps", critical("   1. Sub {#b .critical}\n      - **If skipped:** x\n"), criticalBroken("   1. §Sub {#b .critical}\n"), "critical_without_consequence critical_without_consequence"},
		{"if names features of cars", stepLesson("1. One {#a if=\"abs\"}\n"), stepLesson("1. One {#a if=\"abs §asr\"}\n"), "unknown_feature"},
		{"there is no negation", cars("## Procedure\n1. One {#a if=\"no-abs\"}\n", "[abs]", "[no-abs]"), stepLesson("1. One {#a if=\"§!abs\"}\n"), "bad_id"},
		{"each is wheel", stepLesson("1. One {#a each=\"wheel\" if=\"drum\"}\n"), stepLesson("1. One {#a each=\"§tyre\"}\n"), "bad_each"},
		{"or wheel in an order of the sheets", stepLesson("1. One {#a each=\"wheel in bleed\"}\n"), stepLesson("1. One {#a each=\"§wheel in blead\"}\n"), "unknown_order"},
		{"the order has every wheel of the step", cars("## Procedure\n1. One {#a each=\"wheel in bleed\" if=\"drum\"}\n", "[RR, LR, RF, LF]", "[RR, LR]"), cars("## Procedure\n1. One {#a each=\"§wheel in bleed\" if=\"drum\"}\n", "[RR, LR, RF, LF]", "[RR, RF]"), "order_leaves_out"},
		{"a measure is a link to a figure of the car", stepLesson(measure("[x](vehicle:nut.torque)")), stepLesson(measure("§[x](vehicle:nut.tork)")), "unknown_vehicle_key"},
		{"or a quantity word for word", stepLesson(measure("Depth") + depth), stepLesson("1. One {#a}\n   - §**Measure:** The depth\n" + depth), "measure_unknown"},
		{"behind the semicolon stands which reading counts", stepLesson(measure("Depth; at four points, lowest") + depth), stepLesson("1. One {#a}\n   - §**Measure:** Depth; at four points\n" + depth), "measure_which"},
		{"in Spanish too", stepLesson("1. One {#a}\n   - **Medir:** Depth; en cuatro puntos, la menor\n" + depth), stepLesson("1. One {#a}\n   - §**Medir:** Depth; en cuatro puntos\n" + depth), "measure_which"},

		// Tables, lists, pictures.
		{"cautions", rows("Cautions", "| Hazard | Consequence | Control | If |", "| a | b | c | abs |"), rows("Cautions", "| Hazard | Consequence | Control | If |", "| a | §| c | §asr |"), "empty_cell unknown_feature"},
		{"tools", rows("Tools and materials", toolHead, "| a | b | thing: harm |", "| c | d | |"), rows("Tools and materials", toolHead, "| a | b | §thing, harm |"), "wrong_choice_shape"},
		{"faults", rows("Faults", faultHead, "| a | b | c |", "| a | d | e |"), rows("Faults", faultHead, "| a | b | c |", "§| a | d | c |"), "faults_share_check"},
		{"figures", rows("Figures", "| Key | Quantity | Value | Unit | Limit | Source |", "| x.y | a | 1.50 | mm | maximum | s |"), rows("Figures", figureHead, "| a | §1,50 | mm | maximum | s |"), "bad_decimal"},
		{"decimals have a point in Spanish too", rows("Datos", "| Magnitud | Valor | Unidad | Límite | Fuente |", "| a | 1.5 | mm | máximo | s |"), rows("Datos", "| Magnitud | Valor | Unidad | Límite | Fuente |", "| a | §1,5 | mm | máximo | s |"), "bad_decimal"},
		{"a range has an en dash", figureLesson("| a | 0.03–0.25 | mm | range | s |"), figureLesson("| a | §0.03-0.25 | mm | range | s |"), "range_dash"},
		{"a limit is minimum, maximum or range", figureLesson("| a | 2 | mm | minimum | s |"), figureLesson("| a | 2 | mm | §least | s |"), "unknown_limit"},
		{"an empty unit is a count", figureLesson("| a | 4 | | | s |"), figureLesson("| a | 4 | §pieces | | s |"), "unknown_unit"},
		{"terms", lessonFolder("## Terms\n\nhub\nnave\n:   a mount\n"), lessonFolder("## Terms\n\nhub\n:   a mount\n\nrim\n§hub\n:   a ring\n"), "duplicate_term"},
		{"misbeliefs", lessonFolder("## Misbeliefs\n- **Said:** a **In fact:** b\n- **Se dice:** c **En realidad:** d\n"), lessonFolder("## Misbeliefs\n- §**In fact:** b\n"), "misbelief_shape"},
		{"a picture has words", pictureFolder(aPicture, goodSVG), pictureFolder(strings.Replace(aPicture, "![hub]", "§![]", 1), goodSVG), "picture_without_words"},
		{"then its table", pictureFolder(aPicture, goodSVG), pictureFolder("## Pictures\n§§![hub](../pictures/p.svg)\n", goodSVG), "number_not_in_table picture_without_table"},
		{"its path is relative to the file", pictureFolder("![hub](../pictures/p.svg)\n", goodSVG), pictureFolder("§![hub](/pictures/p.svg)\n", goodSVG), "picture_outside"},
		{"each callout is a group with its number", pictureFolder(aPicture, goodSVG), pictureFolder("", strings.Replace(goodSVG, "<text>1</text>", "<path/>§", 1)), "svg_callout"},
		{"drawing and table have the same numbers", pictureFolder(aPicture, goodSVG), pictureFolder(strings.Replace(strings.Replace(aPicture, "| 1 |", "| §2 |", 1), "![", "§![", 1), goodSVG), "number_not_in_table number_not_in_drawing"},
		{"no script, handler or outside reference", pictureFolder("", goodSVG), pictureFolder("", strings.Replace(goodSVG, "<g", "§<script/>§<g onload='x'/>§<use href='//x'/><g", 1)), "svg_refused svg_handler svg_outside"},

		// Sums.
		{"a sum is a fenced block under Arithmetic", sum(), lessonFolder("## Background\n```§sum\n" + aSum + "```\n"), "sum_outside"},
		{"it asks", sum(), sum("ask: How much?\n", "", "given:", "§given:"), "missing_key"},
		{"a given is values, a range or a figure of the car", sum("unit: mm, values: [1, 2]", "unit: N·m, vehicle: nut.torque", "unit: mm\nround", "unit: N·m\nround"), sum("{a: {", "{§a: {", "values: [1, 2]", "from: 1, to: 3"), "given_shape"},
		{"from, to, step", sum("values: [1, 2]", "from: 1, to: 3, step: 0.5"), sum("{a: {", "{§a: {", "values: [1, 2]", "from: 3, to: 1, step: 1"), "range_reversed"},
		{"the formula's signs and functions", sum("find: 3 * a", "find: max(a, 0 * a) + min(a, a) - round(a) / 1 + (a ^ 2 / a)"), sum("find: 3 * a", "find: a §% 3"), "formula_not_allowed"},
		{"sqrt and pi", sum("find: 3 * a\nunit: mm", "find: pi * sqrt(a) ^ 2\nunit: mm"), sum("find: 3 * a", "find: §sin(a)"), "formula_unknown_function"},
		{"powers are whole", sum("find: 3 * a", "find: a ^ 2", "unit: mm\nround", "unit: mm²\nround"), sum("find: 3 * a", "find: §a ^ 0.5"), "sum_bad_exponent"},
		{"a unit is quoted where YAML wants it", sum("unit: mm,", "", "unit: mm\n", "unit: \"%\"\n"), sum("unit: mm\nround", "unit: §%\nround"), "yaml_unreadable"},
		{"it is left out for counts", sum("unit: mm, ", "", "unit: mm\n", ""), sum("unit: mm, ", "", "unit: mm\nround", "unit: §pieces\nround"), "unknown_unit"},
		{"rounding is a step", sum("rounding: 0.01", "rounding: 0.05", "tolerance: 0.02", "tolerance: 0.05"), sum("ask", "§ask", "rounding: 0.01", "rounding: 0"), "not_positive"},
		{"tolerance may be none, never less", sum("tolerance: 0.02", "tolerance: 0"), sum("ask", "§ask", "tolerance: 0.02", "tolerance: -1"), "not_positive"},
		{"slips have a formula and a meaning", sum("tolerance: 0.02\n", "tolerance: 0.02\nslips: [{formula: 2 * a, means: x}]\n"), sum("tolerance: 0.02\n", "tolerance: 0.02\nslips: [§{formula: 2 * a}]\n"), "missing_key"},
		{"slips that coincide", sum("tolerance: 0.02\n", "tolerance: 0.02\nslips: [{formula: 2 * a, means: x}, {formula: 5 * a, means: y}]\n"), sum("tolerance: 0.02\n", "tolerance: 0.02\nslips: [{formula: 2 * a, means: x}, {formula: §a + a, means: y}]\n"), "slips_coincide"},
		{"ids of sums are unlike", sum("ask", "id: one\nask"), lessonFolder("## Arithmetic\n```sum\nid: one\n" + aSum + "```\n\n```sum\n§id: one\n" + aSum + "```\n"), "duplicate_id"},

		// Ids of rows, translations.
		{"a row's id ends its first cell", rows("Cautions", cautionHead, "| a {#x} | b | c |", "| d {#y} | e | f |"), rows("Cautions", cautionHead, "| a {#x} | b | c |", "§| d {#x} | e | f |"), "duplicate_id"},
		{"rows without ids pair by order", translated("## Cautions\n"+table(cautionHead, "| a | b | c |"), "## Precauciones\n"+table("| Peligro | Consecuencia | Control |", "| d | e | f |")),
			translated("## Cautions\n"+table(cautionHead, "| a | b | c |"), "§## Precauciones\n"+table("| Peligro | Consecuencia | Control |", "| d | e | f |", "| g | h | i |")), "translation_count"},
		{"figures are the same in every language", translated("## Figures\n"+table(figureHead, "| a | 1 | mm | | s |"), "## Datos\n"+table(figureHead, "| b | 1 | mm | | s |")),
			translated("## Figures\n"+table(figureHead, "| a | 1 | mm | | s |"), "## Datos\n"+table(figureHead, "§| b | 2 | mm | | s |")), "translation_differs"},
		{"steps have the same ids", translated("## Procedure\n1. One {#a}\n", "## Procedimiento\n1. Uno {#a}\n"), spanish(strings.Replace(esFront, "id: l", "id: §l", 1)+"## Procedimiento\n1. §Uno {#b}\n", "## Procedure\n1. One {#a}\n"), "translation_lacks translation_adds"},

		// Values of the car in the text, plain language.
		{"a value that one sheet has", cars("Look: [x](vehicle:nut.torque)\n", "nut.torque", "bolt.torque"), lessonFolder("Look: §[x](vehicle:bolt.torque)\n"), "unknown_vehicle_key"},
		{"every car of the step has it", cars("## Procedure\n1. To [x](vehicle:nut.torque) {#a if=\"abs\"}\n", "nut.torque", "bolt.torque", "[abs]", "[]"), cars("## Procedure\n1. To §[x](vehicle:nut.torque) {#a}\n", "nut.torque", "bolt.torque"), "vehicle_lacks_key"},
		{"{axle} stands for the wheel's", stepLesson("1. To [x](vehicle:rotor.{axle}.minimum) {#a each=\"wheel\"}\n"), stepLesson("1. One {#a}\n   - §**Measure:** [x](vehicle:rotor.{axle}.minimum)\n"), "axle_without_wheel"},
		{"25 words a sentence", lessonFolder(words(25)), lessonFolder("§" + words(26)), "long_sentence"},

		// A vehicle sheet.
		{"a sheet's front matter", sheet(), sheet("id: v\n", "§id: v\n", "title: A car\n", ""), "missing_key"},
		{"features are a list", sheet("[abs]", "[]"), sheet("[abs]", "§abs"), "yaml_not_a_list"},
		{"wheels are a list or a map", sheet("{LF: [front, disc], RF: [front, disc], LR: [rear, drum], RR: [rear, drum]}", "[LF, RF, LR, RR]"), sheet("[front, disc], RF", "§front, RF"), "yaml_not_a_list"},
		{"orders are of the car's wheels", sheet("orders: {bleed: [RR, LR, RF, LF]}\n", ""), sheet("[RR, LR", "[§BR, LR"), "unknown_wheel"},
		{"it has figures", sheet(), sheet("---\nid", "§---\nid", "## Figures", "## Data"), "sheet_without_figures"},
		{"the first column is Key", sheet(), testFolder(folder{"vehicles/v.md": strings.Split(testVehicle, "| Key")[0] + table("| Quantity | §Key | Value | Unit | Limit | Source |", "| a | x | 1 | mm | | s |")}), "column_order"},
		{"a key is a dotted name", sheet("rod.clearance", "rod.push-1.clearance_x"), sheet("| rod.clearance", "| §rod clearance"), "bad_key"},
		{"a key stands once", sheet(), sheet("| rotor.rear.minimum", "| §rotor.front.minimum"), "duplicate_id"},
	} {
		t.Run(r.rule, func(t *testing.T) {
			if problems := Lint(r.kept, "undo"); len(problems) > 0 {
				t.Errorf("kept: %s", shows(problems))
			}
			asks(t, r.broken, strings.Fields(r.codes)...)
		})
	}
}
