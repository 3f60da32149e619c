package say

import (
	"sort"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
)

// problemText is what is wrong, why that matters or where it comes from, and how to mend it.
type problemText struct{ message, cause, cure string }

// Problem says a problem of a programme folder: what is wrong, the cause, and the cure. {name} stands for an argument.
func Problem(p curriculum.Problem) (message, cause, cure string) {
	if strings.HasPrefix(p.Code, "policy_") {
		f := readiness.PolicyFault{Line: p.Line, Column: p.Column, Code: p.Code, Args: p.Args}
		return PolicyFault(f), "The policy block is read strictly, so that no gate is left open by a slip of the pen.", PolicyCure(f)
	}
	t, ok := problemTexts[p.Code]
	if !ok {
		return unknown(p.Code, p.Args), "", ""
	}
	message = fillProblem(t.message, p.Args)
	if field := p.Args["field"]; field != "" {
		message = field + ": " + message
	}
	cure = t.cure
	if p.Args["nearest"] == nothingNear {
		cure = withoutNearest(cure)
	}
	return message, fillProblem(t.cause, p.Args), fillProblem(cure, p.Args)
}

// nothingNear is what curriculum gives where no known name comes near.
const nothingNear = "—"

// withoutNearest leaves out the sentence of a cure that names the nearest word, where there is none.
func withoutNearest(cure string) string {
	var rest []string
	for _, sentence := range strings.SplitAfter(cure, ". ") {
		if !strings.Contains(sentence, "{nearest}") {
			rest = append(rest, sentence)
		}
	}
	if len(rest) == 0 {
		return "Mend it; nothing known here comes near."
	}
	return strings.Join(rest, "")
}

// fillProblem fills a sentence in. ⟨ and ⟩ stand for braces that show the lesson format itself; what is between them
// is not filled in.
func fillProblem(template string, args map[string]string) string {
	var b strings.Builder
	for i, part := range strings.Split(template, "⟨") {
		if i > 0 {
			b.WriteByte('{')
		}
		before, after, closed := strings.Cut(part, "⟩")
		if !closed {
			b.WriteString(fill(part, args))
		} else {
			b.WriteString(before + "}" + fill(after, args))
		}
	}
	return b.String()
}

// ProblemCodes lists the codes that have words here, sorted.
func ProblemCodes() []string {
	codes := make([]string, 0, len(problemTexts))
	for c := range problemTexts {
		codes = append(codes, c)
	}
	sort.Strings(codes)
	return codes
}

var problemTexts = map[string]problemText{
	// Folder and files.
	"no_programme":      {"There is no programme.yaml.", "A programme folder begins with that file.", "Put programme.yaml into the folder's top level."},
	"folder_unreadable": {"The folder cannot be read: {error}.", "Its path or its permissions are wrong.", "Check the path, and that the program may read it."},
	"file_unreadable":   {"The file cannot be read: {error}.", "It was moved, or its permissions are wrong.", "Check that the program may read it."},
	"same_but_for_case": {"The name differs from {other} in capital and small letters only.", "On many machines both are one file, and one would take the place of the other.", "Give one of them another name, and change the links to it."},
	"not_plain_file":    {"This is no plain file or folder, so it is left out.", "A symbolic link, a pipe or a device is not followed: it may lead out of the programme's folder.", "Put the file itself here."},
	"file_too_large":    {"The file has more than {limit} MiB.", "A lesson is text; a file of this size is something else.", "Split it, or make the drawing simpler."},
	"folder_too_large":  {"The files have more than {limit} MiB in all.", "A programme is text and drawings.", "Take out what does not belong to the programme."},
	"too_many_files":    {"There are {count} files; {limit} are allowed.", "Most of them cannot be lessons.", "Take out what does not belong to the programme."},
	"too_much_to_check": {"There is too much to check.", "Each step is tried on each vehicle sheet, and each sum over all its values.", "Use fewer sheets, shorter lessons, or fewer values in sums."},
	"too_many_problems": {"This file has more than {limit} problems; the rest is not shown.", "It may be no lesson at all, or be saved wrongly.", "Mend the first ones and check again."},
	"file_unused":       {"This file is part of the programme but nothing reads it.", "Lessons belong in lessons/, sheets in vehicles/, and pictures/ holds drawings only.", "Move it, or take it out."},
	"language_folder":   {"The folder {language} is not read.", "The programme's languages are {languages}.", "Add {language} to languages in programme.yaml, or take the folder out."},
	"bad_utf8":          {"These bytes are not UTF-8.", "The file was saved in another encoding.", "Save it as UTF-8."},
	"byte_order_mark":   {"The file begins with a byte order mark.", "Some editors write it when they save as UTF-8 with BOM.", "Save it as UTF-8 without BOM."},
	"nul_byte":          {"There is a NUL byte.", "The file may be UTF-16, or no text at all.", "Save it as UTF-8."},
	"lone_cr":           {"A carriage return stands without a line feed.", "Old line ends make lines that some programs see and others do not.", "Save the file with LF or CRLF line ends."},
	"bidi_control":      {"There is an invisible direction mark ({character}).", "It makes text read otherwise than it is stored, so that a lesson could hide what it says.", "Delete it; retype the word if you cannot see it."},
	"line_too_long":     {"A line is longer than {limit} KiB.", "Text was pasted without line ends.", "Break the line."},
	"block_too_long":    {"More than {limit} KiB stand without a blank line.", "Text was pasted without its paragraphs.", "Put blank lines between paragraphs and lists."},
	"too_many_marks":    {"More than {limit} signs of emphasis and links stand without a blank line.", "No paragraph or list has so many; the text may be damaged.", "Put blank lines between paragraphs, or take the signs out."},
	"table_too_wide":    {"A table has more than {limit} columns.", "No page could show it.", "Split it."},
	"nested_too_deep":   {"Lists or quotations stand more than {limit} deep.", "The marks at the start of the line open one inside the other.", "Take the extra marks out."},

	// YAML.
	"yaml_unreadable":    {"The YAML cannot be read: {error}.", "A bracket, a quotation mark or an indentation is wrong at or before this place.", "Mend the YAML."},
	"yaml_colon":         {"The value has a colon in it.", "A colon and a space begin a new value in YAML.", "Put the value in quotation marks, like title: \"Wheels: front and rear\"."},
	"yaml_tab":           {"The line begins with a tab.", "In YAML only spaces indent: how wide a tab is depends on the editor.", "Write spaces instead."},
	"yaml_too_deep":      {"The YAML is nested more than {limit} deep.", "No part of the format needs that.", "Take the extra brackets or indentations out."},
	"yaml_alias":         {"Anchors and aliases (& and *) are not used here.", "Each value must be readable where it stands.", "Write the value out, or put it in quotes if it begins with & or *."},
	"yaml_not_a_mapping": {"Here keys with values are expected.", "A list or a single value stands in their place.", "Write key: value."},
	"yaml_not_a_list":    {"Here a list is expected.", "A single value or keys stand in its place.", "Put what belongs there in square brackets, like {like}."},
	"yaml_not_text":      {"Here a single value is expected.", "A list, keys or nothing stands in its place.", "Write one value; put it in quotes if it has special signs."},
	"yaml_not_whole":     {"{key} is {value}, which is no whole number from {from} to {to}.", "Only a number in that range makes sense here.", "Write such a number."},
	"unknown_key":        {"The key {key} is unknown.", "Nothing reads it, so what it says would be lost.", "Known here: {nearest}."},
	"duplicate_key":      {"The key {key} stands here twice.", "Only one of them could count.", "Keep one."},
	"missing_key":        {"The key {key} is missing or empty.", "It is required here.", "Add {key}: with its value."},
	"duplicate_entry":    {"{value} stands twice in {key}.", "Once is enough, and twice may be a slip for another.", "Keep one, or write the one you meant."},
	"bad_choice":         {"{key} is {value}.", "It must be one of: {choices}.", "Write one of them."},
	"bad_language":       {"{language} is no language tag.", "Languages are named by short tags, like en or es.", "Write the tag."},
	"bad_id":             {"{id} cannot be an id.", "Ids are made of letters, digits, - and _, and begin with a letter or digit.", "Write it like {like}."},
	"bad_key":            {"{key} cannot be a vehicle key.", "Keys are dotted names, like rotor.front.minimum; in a link ⟨axle⟩ may stand for one part.", "Rename it."},
	"bad_decimal":        {"{value} is no plain decimal number.", "Numbers have a point in every language, no grouping and no exponent.", "Write it like 1200 or -0.35."},
	"not_positive":       {"{key} is {value}.", "It must be more than nothing.", "Write a number above zero."},

	// programme.yaml against the lessons.
	"duplicate_id":             {"The id {id} is used twice.", "An id must name one thing.", "Rename one of the two."},
	"duplicate_lesson":         {"The lesson {id} is already in {file}.", "An id must name one lesson.", "Rename one of the two."},
	"duplicate_vehicle":        {"The vehicle {id} is already in {file}.", "An id must name one sheet.", "Rename one of the two."},
	"unknown_task":             {"There is no task {id}.", "programme.yaml lists the tasks.", "Nearest task: {nearest}. Mend the name, or add the task."},
	"unknown_lesson":           {"There is no lesson {id}.", "The id in a lesson's front matter counts, not its file name.", "Nearest lesson: {nearest}. Mend the name, or add the lesson."},
	"unknown_blueprint":        {"There is no blueprint {id}.", "programme.yaml lists the blueprints.", "Nearest blueprint: {nearest}. Mend the name, or add the blueprint."},
	"unknown_family":           {"There is no question family {id}.", "brakewright quiz --list-families lists them.", "Nearest family: {nearest}. Mend the name, or take the line out."},
	"task_disagrees":           {"Task {task} and lesson {lesson} disagree.", "One lists the other, but {file} does not say so too.", "List both ways, or neither."},
	"prerequisite_cycle":       {"The prerequisites run in a circle: {chain}.", "Nobody could ever begin with one of them.", "Take one of these prerequisites out."},
	"blueprint_of_other_task":  {"Blueprint {blueprint} belongs to task {other}, not to {task}.", "A theory test counts for its own task only.", "Name a blueprint of {task}."},
	"blueprint_too_many":       {"The {of} of this blueprint ask {sum:question|questions}; the test has {questions}.", "The parts cannot be more than the whole.", "Raise questions, or lower the counts."},
	"blueprint_lesson_outside": {"The test asks about lesson {lesson}, which task {task} does not list.", "Whoever learns for the task may never have read it.", "Add the lesson to the task, or take it out of the test."},
	"blueprint_critical":       {"The test has {questions:question|questions} but there are {critical:critical step|critical steps}.", "critical_steps: all cannot be kept.", "Raise questions, or write critical_steps: none."},
	"gate_supervisors":         {"Task {task} asks for {asked:supervisor|supervisors}; {available} are available.", "Nobody can ever pass this gate.", "Lower supervisors, or correct supervisors_available."},
	"gate_layouts":             {"Task {task} asks for {asked:layout|layouts}; the vehicle sheets have {available}.", "Nobody can pass this gate on the training vehicles alone.", "Lower layouts, or add a sheet."},
	"gate_recency":             {"Task {task} comes up about every {gap} days, but the last job may be only {days} days old.", "The gate closes again before the next job comes.", "Raise recency_days, or correct jobs_per_month."},
	"gate_lapse":               {"Task {task} comes up about every {gap} days, but a clearance lapses after {days} days without a job.", "Clearances would lapse although everybody works as usual.", "Raise lapse_days, or correct jobs_per_month."},
	"gate_jobs":                {"Task {task} asks for {asked} watched jobs; at the given rate that takes {months} months.", "Few apprentices stay that long.", "Lower jobs, or correct jobs_per_month."},

	// Headings, tables, lists.
	"no_front_matter":         {"The file has no front matter.", "A lesson or sheet begins with a line ---, keys, and a second line ---.", "Add it at the very top."},
	"wrong_language":          {"The language is {language}; {expected} is expected here.", "The original language stands in lessons/ itself, the others in folders of their own.", "Correct language, or move the file."},
	"unknown_class":           {"The class {class} is unknown.", "A heading's class says what its section is; a wrong one would leave the section unread.", "Nearest: {nearest}."},
	"heading_level":           {"The class {class} stands at a heading of level {level}.", "Sections are headings of level 2; this one is read as plain text.", "Write two # signs, or take the class out."},
	"table_unread":            {"This table has the columns of {section}, but does not stand under that heading.", "It is shown as reading matter; nothing is asked about it.", "Put it under ## {section}, or give its heading of level 2 that section's class."},
	"braces_unread":           {"The braces {text} are shown as they are.", "Only items of the lists under Procedure are steps.", "Make it an item of such a list, or take the braces out. Other words for a heading need its class: ## Steps ⟨.procedure⟩."},
	"section_empty":           {"The section {section} holds nothing that can be read.", "Its table, list or block is missing, has another shape, or lacks the blank line before it.", "Write it like {like} (⏎ is the end of a line), or rename the heading if it is reading matter."},
	"unknown_column":          {"The column {column} is unknown.", "The columns of this table are fixed.", "Nearest: {nearest}."},
	"duplicate_column":        {"The column {column} stands twice.", "Only one could count.", "Take one out."},
	"missing_column":          {"The column {column} is missing.", "This table needs it.", "Add the column."},
	"column_order":            {"The column {column} stands in the wrong place.", "The order is {order}.", "Move the column."},
	"extra_cell":              {"The row has more cells than the table has columns ({columns}).", "What stands behind the last column would be lost.", "Take it out; a stroke that belongs to the text is written \\|."},
	"empty_cell":              {"The cell under {column} is empty.", "Questions are made from every cell of a row.", "Fill it in, or take the row out."},
	"wrong_choice_shape":      {"\"{text}\" is not split into thing and harm.", "A wrong choice is written as thing: harm.", "Put a colon between the two."},
	"duplicate_row":           {"This row reads the same as line {line}: \"{text}\".", "A question about one would have two right answers.", "Take one out, or say what makes them differ."},
	"same_first_cell":         {"\"{text}\" was already said in line {line}.", "A question that begins with it would have two right answers, so it is not asked.", "Join the rows, or make the words differ."},
	"faults_share_check":      {"The same check as in line {line} is to tell this cause: \"{text}\".", "One check cannot tell two causes of one symptom apart.", "Say what differs in what is seen."},
	"duplicate_figure":        {"\"{text}\" stands already in line {line}.", "A figure must be found by its Quantity or key alone.", "Rename one, or take it out."},
	"no_source":               {"\"{quantity}\" has no source.", "A reader must be able to check every figure.", "Fill in Source."},
	"range_dash":              {"{value} is written with a hyphen.", "A hyphen may be a minus sign; a range has an en dash.", "Write it as {range}."},
	"range_reversed":          {"The range {value} runs backwards.", "The low end comes first.", "Swap the two."},
	"unknown_unit":            {"The unit {unit} is unknown.", "Units are written exactly as the format lists them.", "Nearest: {nearest}. For a count leave it empty."},
	"unknown_limit":           {"The limit {limit} is unknown.", "Limit is empty, minimum, maximum or range.", "Write one of these words."},
	"limit_mismatch":          {"The limit {limit} does not go with the value {value}.", "A range needs two ends; a minimum or maximum has one.", "Correct the value or the limit."},
	"duplicate_term":          {"The term {term} is defined twice.", "A question about it would have two right answers.", "Join the definitions."},
	"term_without_definition": {"The term {term} has no definition.", "A definition is a line that begins with a colon and a space.", "Add it below the term."},
	"misbelief_shape":         {"This is not a misbelief of two parts.", "Each bullet says **Said:** … **In fact:** … once.", "Add the part that is missing, its label in bold."},
	"long_sentence":           {"A sentence has {words} words: \"{text}\".", "Above {limit} words a sentence is hard to follow on a phone.", "Split it."},
	"raw_html":                {"HTML is not shown: {text}.", "Pages show Markdown only, so that no lesson can bring script along.", "Write it in Markdown, or take it out."},
	"link_to_nowhere":         {"The link {link} leads nowhere.", "A link is taken from this file's folder; behind # stands the id of a heading, step or row.", "Nearest: {nearest}."},
	"link_refused":            {"The link {link} is not shown.", "Links may lead to http, https, mailto and tel addresses and to places in the programme.", "Correct the address."},

	// Pictures.
	"picture_without_words": {"The picture {path} has no text alternative.", "Whoever cannot see it learns nothing from it.", "Say between the square brackets what it shows."},
	"picture_outside":       {"The picture {path} is not in the programme.", "Pages load nothing from outside, and no path may leave the folder.", "Put the drawing into pictures/ and write the path from this file."},
	"picture_not_svg":       {"The picture {path} is no SVG drawing.", "A programme's pictures are SVG files: they stay sharp, and their numbers can be pointed at. Photographs are not read.", "Draw it as SVG and name that file, or take the picture out."},
	"picture_missing":       {"There is no picture {path}.", "The path is taken from this file's folder.", "Nearest: {nearest}."},
	"picture_without_table": {"The picture {path} has no table of its parts.", "Under Pictures each image is followed by its table of Number and Part.", "Add the table, or show the image under another heading."},
	"table_without_picture": {"This table has no picture before it.", "Under Pictures each image is followed by its own table.", "Put the image before the table."},
	"duplicate_number":      {"The number {number} stands twice.", "A callout points to one part.", "Renumber one."},
	"duplicate_part":        {"The part {part} has two numbers.", "A question that asks for it would have two right answers.", "Say which one is meant, as in left and right."},
	"number_not_in_drawing": {"The drawing {path} has no callout {number}.", "Table and drawing must agree.", "Add the callout, or take the row out."},
	"number_not_in_table":   {"The callout {number} of {path} is not in the table.", "Table and drawing must agree.", "Add a row, or take the callout out."},
	"callout_twice":         {"The callout {number} stands twice in the drawing.", "A click on one of them could not be judged.", "Renumber one."},
	"svg_unreadable":        {"The drawing cannot be read ({name}).", "It is not well-formed SVG in UTF-8.", "Save it again as plain SVG."},
	"svg_too_large":         {"The drawing has too many or too deeply nested elements ({name}).", "It would be slow on a phone.", "Make it simpler."},
	"svg_doctype":           {"The drawing has a document type.", "Document types can define entities that stand for something else.", "Delete the <!DOCTYPE …> line."},
	"svg_refused":           {"The drawing holds {name}.", "It can run, embed or fetch something.", "Take it out; save as plain SVG."},
	"svg_handler":           {"The drawing has the event handler {name}.", "It runs script.", "Take the attribute out."},
	"svg_outside":           {"The drawing refers to something outside ({name}).", "Pages load nothing from outside; only #fragments of the drawing itself may be named.", "Take the reference out."},
	"svg_callout":           {"A callout has no number of its own ({name}).", "Each <g class=\"callout\"> holds one <text> with a short number.", "Add the number."},

	// Steps.
	"step_without_id":              {"The step \"{title}\" has no id.", "Records name steps by their ids for years.", "Add ⟨#some-id⟩ at the end of its first line."},
	"step_without_text":            {"A step has no text.", "Its first line says what to do.", "Write it before the braces."},
	"bad_attributes":               {"The braces cannot be read: {text}.", "A quotation mark is missing or curly, or a comma or another sign stands where it should not. Nothing comes behind them in their line.", "Write them like ⟨#undo-nuts .critical after=\"clean\"⟩, at the very end of the line."},
	"unknown_attribute":            {"{attribute} is unknown here.", "Nothing reads it, so what it says would be lost.", "Nearest: {nearest}."},
	"duplicate_attribute":          {"{attribute} is given twice.", "Only one could count.", "Keep one."},
	"duplicate_step":               {"The step id {id} is already used in line {line}.", "An id must name one step.", "Rename one of the two."},
	"unknown_step":                 {"There is no step {id} in this lesson.", "after names steps and sub-steps by their ids.", "Nearest: {nearest}."},
	"cycle":                        {"The order runs in a circle: {chain}.", "No step of it could ever come first.", "Take one of these after out."},
	"after_implied":                {"{step} comes after {after} anyhow.", "Another step or the parent sees to it already.", "Take {after} out of after."},
	"after_repeats_list":           {"{step} comes after {after} anyhow.", "In a numbered list each step comes after the one before it.", "Take after out."},
	"mixed_list":                   {"A list under {step} mixes points and sub-steps.", "A reader could not tell what is to be done from what is said about it.", "Make two lists."},
	"point_outside":                {"This point stands beside the steps, not under {step}.", "It is not indented as far as the words of the step above it, so readers see it as a step of its own.", "Put spaces before it until its dash stands under the first letter of the step: three under 1. and 2., four from 10. on."},
	"list_indent":                  {"This list is indented, but not far enough to stand under {step}.", "Its items are read as a list of their own, beside the steps above it.", "Indent it to the first letter of {step}, or not at all."},
	"points_numbered":              {"The points of {step} are numbered.", "Numbers say that things are done in this order.", "Use bullets for points."},
	"unknown_point":                {"The label {label} is unknown.", "Points begin with Why, If skipped, If done wrong, Check or Measure, in bold.", "Nearest: {nearest}. A sub-step needs an id instead."},
	"empty_point":                  {"{label} says nothing.", "A point is a sentence.", "Finish it, or take it out."},
	"point_with_attributes":        {"A point of {step} has braces.", "Ids and attributes belong to steps.", "Take the braces out."},
	"steps_too_deep":               {"Sub-steps stand more than {limit} deep.", "Nobody can follow that at a car.", "Flatten the list, or make a lesson of it."},
	"too_many_steps":               {"The procedure has more than {limit} steps.", "No job is learnt as one that long.", "Split the lesson."},
	"critical_without_consequence": {"The critical step {step} does not say what follows.", "Critical means that getting it wrong can hurt someone; the reader must know how.", "Add **If skipped:** or **If done wrong:**, to it or to each of its critical sub-steps."},
	"measure_unknown":              {"There is no figure \"{name}\" in this lesson.", "Measure names a vehicle link, or the Quantity of a row of Figures word for word.", "Nearest: {nearest}."},
	"measure_which":                {"\"{text}\" does not say which reading counts.", "Of several readings the lowest, the highest, the spread or each may be judged.", "Add one of these words. Leave the part behind the semicolon out for one reading."},

	// Steps and cars.
	"bad_each":              {"each cannot be {value}.", "A step repeats at each wheel, in any order or in a named one.", "Write each=\"wheel\" or each=\"wheel in bleed\"."},
	"each_conflict":         {"{step} goes round the car otherwise than its parent {parent}.", "A parent's each holds for its sub-steps.", "Take each out of {step}."},
	"unknown_feature":       {"The feature {feature} is unknown.", "A programme's features are those of its vehicle sheets.", "Nearest: {nearest}. Mend the name, or add the feature to a sheet."},
	"feature_of_wheels":     {"{step} asks for {features}, which no car has as a whole.", "Single wheels have it, but the step is not done wheel by wheel.", "Add each=\"wheel\", or give the cars the feature."},
	"step_for_no_car":       {"{step} asks for {features}, which no car has together.", "It would never be done or asked.", "Give each alternative a feature of its own."},
	"unknown_order":         {"No sheet has an order {order}.", "each=\"wheel in …\" names an order of the vehicle sheets.", "Nearest: {nearest}."},
	"order_missing":         {"The sheet {vehicle} has no order {order}, which {step} needs.", "The step could not be laid out for this car.", "Add it under orders in the sheet."},
	"order_leaves_out":      {"The order {order} leaves out the wheel {wheel}.", "The work is done at that wheel too.", "Add the wheel to the order."},
	"order_contradiction":   {"On {vehicle} the orders of wheels contradict one another.", "One group of steps goes round one way while steps between them go round the other.", "Use one order for both, or put a step between them that waits for all wheels."},
	"unknown_vehicle_key":   {"No sheet has the key {key}.", "A reader would never see a figure here.", "Nearest: {nearest}."},
	"vehicle_lacks_key":     {"The sheet {vehicle} lacks {key}.", "The place where it is shown concerns this car.", "Add it to the sheet, or limit the place with if."},
	"axle_without_wheel":    {"{key} asks for an axle, but {step} is not at a wheel.", "⟨axle⟩ stands for front or rear of the wheel at hand.", "Add each=\"wheel\", or write front or rear."},
	"unit_mismatch":         {"{name} is in {unit}, and elsewhere in {other}.", "The two measure different things.", "Correct the unit, or use another key."},
	"limit_differs":         {"{key} has the limit {limit}, and elsewhere {other}.", "A reading would be judged one way on one car and another way on the next.", "Make them the same, or use another key."},
	"unknown_wheel":         {"There is no wheel {wheel}.", "Orders name the wheels of the same sheet.", "Nearest: {nearest}."},
	"unknown_layout":        {"The layout {layout} is unknown.", "Layouts are those of the vehicle sheets.", "Nearest: {nearest}."},
	"sheet_without_figures": {"The sheet has no table of figures.", "A sheet holds a section Figures whose first column is Key.", "Add it."},
	"wheel_contradicts":     {"Wheel {wheel} has {one} and {other}.", "A wheel has one of the two.", "Choose one."},
	"car_missing":           {"This is missing.", "A described car needs it.", "Fill it in."},

	// Sums.
	"sum_outside":              {"This sum stands outside Arithmetic.", "Sums are read under the heading Arithmetic only.", "Move it there."},
	"bad_given_name":           {"{name} cannot name a given value.", "Names are ASCII letters, digits and _, and no word of the formula language.", "Rename it."},
	"given_shape":              {"{name} does not say what values it has.", "A given has values, or from, to and step, or a vehicle's figure.", "Write it like {like}. In place of values may stand from: 1, to: 5, step: 1, or vehicle: KEY."},
	"given_unused":             {"{name} is given but no formula uses it.", "A reader may think that it matters.", "Use it or take it out."},
	"given_is_range":           {"{name} takes {key}, which is a range on {vehicle}.", "A sum needs one number.", "Use another key."},
	"too_many_values":          {"{name} has more than {limit} values.", "So many are not needed, and slow to check.", "Use fewer, or a larger step."},
	"formula_unreadable":       {"The formula cannot be read: {what}.", "A bracket or a sign is missing.", "Mend the formula."},
	"formula_too_long":         {"The formula is too long: {what}.", "A question that long cannot be worked out by hand.", "Shorten it."},
	"formula_not_allowed":      {"{what} is not allowed in a formula.", "Allowed are + - * / ^, sqrt, min, max, round, pi and parentheses.", "Rewrite the formula."},
	"formula_bad_number":       {"{what} is no plain decimal number.", "Numbers have digits and at most one point.", "Write it out."},
	"formula_unknown_name":     {"{what} is not given.", "A formula may use the names under given, and pi.", "Nearest: {nearest}."},
	"formula_unknown_function": {"The function {what} is unknown.", "Known are sqrt, min, max and round.", "Rewrite the formula."},
	"formula_arguments":        {"{what} has the wrong number of arguments.", "sqrt and round take one; min and max take two or more.", "Correct the call."},
	"sum_divides_by_zero":      {"The formula divides by zero for {values}.", "The values given allow it.", "Change the values or the formula."},
	"sum_root_of_negative":     {"The formula takes the root of a negative number for {values}.", "The values given allow it.", "Change the values or the formula."},
	"sum_bad_exponent":         {"An exponent is no whole number from -64 to 64 for {values}.", "Powers are worked out exactly.", "Use a whole exponent, or sqrt."},
	"sum_out_of_range":         {"The formula goes beyond 1e30 for {values}.", "No quantity of a workshop is that large.", "Check the values and units."},
	"sum_unit":                 {"The formula comes out as {comes}, but the sum's unit is {unit}.", "Something is divided that should be multiplied, or a given is missing.", "Correct the formula, or the unit of the sum or of a given."},
	"sum_unit_size":            {"The formula's numbers are {times} times those in {unit}.", "The units of the given values do not go together, such as mm with N·m.", "Change the unit of a given or of the sum, or put the factor into the formula."},
	"slip_is_right":            {"Slip {slip} always gives the right answer.", "Whoever makes it could not be told from whoever is right.", "Correct the slip's formula."},
	"slip_sometimes_right":     {"Slip {slip} gives the right answer for {count} of {total} combinations, such as {values}.", "It is left out of those questions.", "Choose values that keep them apart."},
	"slips_coincide":           {"Slips {slip} and {other} give the same number for {values}.", "One is dropped there, and a diagnosis names neither.", "Choose values that keep them apart."},
	"slip_fails":               {"Slip {slip} has no result for {values}.", "It is left out of those questions.", "Choose other values if you want it asked."},
	"tolerance_below_rounding": {"The tolerance {tolerance} is less than half the rounding step {rounding}.", "Whoever rounds differently on the way may be marked wrong.", "Raise the tolerance, or round finer."},

	// Translations.
	"not_translated":         {"The lesson {id} has no {language} translation.", "Readers of that language see the original.", "Add it under lessons/{language}/."},
	"translation_of_nothing": {"There is no original with the id {id}.", "A translation has the id of its original.", "Mend the id, or add the original."},
	"translation_lacks":      {"The translation lacks {element}.", "Readers of both languages must do the same work.", "Add it."},
	"translation_adds":       {"The original has no {element}.", "Readers of both languages must do the same work.", "Add it to the original, or take it out here."},
	"translation_differs":    {"{element} differs from the original: {what}.", "Only the words may differ between languages.", "Make it the same as in the original."},
	"translation_count":      {"The section {section} has {count:row|rows}; the original has {original}.", "Rows without ids are paired by their order.", "Make the counts equal."},
}
