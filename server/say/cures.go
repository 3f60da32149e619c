package say

import "brakewright/readiness"

// InputCure says how to mend a fault of an evidence file or a catalogue.
func InputCure(e readiness.InputError) string { return sayCode(inputCures, e.Code, kindsSaid(e.Args)) }

// PolicyCure says how to mend a fault of a policy.
func PolicyCure(f readiness.PolicyFault) string {
	if f.Code == "policy_unknown_key" && f.Args["nearest"] != "" {
		return fill("Write {nearest}, or take the key out.", f.Args)
	}
	return sayCode(policyCures, f.Code, f.Args)
}

var inputCures = map[string]string{
	"input_unreadable":        "Check the file and read it again.",
	"input_not_utf8":          "Save the file as UTF-8.",
	"input_not_json":          "Mend the JSON; in evidence each line is one whole object.",
	"input_duplicate_key":     "Keep one of the two.",
	"input_missing":           "Add the field.",
	"input_empty":             "Fill it in, or take it out where it is optional.",
	"input_wrong_type":        "Write {want}.",
	"input_correction_inside": "Let a further line correct the first correction: name its id in corrects.",
	"input_unknown_value":     "Use one of the words listed.",
	"input_bad_date":          "Write the date as YYYY-MM-DD; it must exist.",
	"input_out_of_range":      "Give a whole number from {from} to {to}.",
	"input_wrong_order":       "Put the earlier date first.",
	"input_too_few":           "Name at least {need} different people.",
	"input_not_possible":      "Take the critical error out, or give the result that was seen.",
	"input_duplicate_id":      "Give this record an id of its own.",
	"input_unknown_task":      "Add the task to the catalogue, or mend its name.",
	"input_cycle":             "Take one of these prerequisites out.",

	"input_no_such_record": "Mend the id, or read the file that has the record along with this one.",
	"input_no_such_task":   "Mend the name, or add the task to the catalogue.",
	"input_no_such_step":   "Mend the name, or add the step to the catalogue.",
}

var policyCures = map[string]string{
	"policy_unreadable":        "Mend the YAML or JSON.",
	"policy_not_a_mapping":     "Write keys with values below it.",
	"policy_unknown_key":       "Take the key out; 'brakewright assess --print-policy' shows all that there are.",
	"policy_duplicate_key":     "Keep one of the two.",
	"policy_missing":           "Add the key.",
	"policy_not_text":          "Put the value in quotes.",
	"policy_not_a_number":      "Write a number with a point, like 0.95.",
	"policy_not_whole":         "Write a whole number.",
	"policy_not_true_or_false": "Write true or false.",
	"policy_out_of_range":      "Choose a value between {from} and {to}.",
	"policy_job_mix_sum":       "Change the shares so that they sum to 1.",
}
