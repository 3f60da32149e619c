package say

import (
	"maps"
	"strings"
)

// Refusal says a refusal: what is in the way and what to do about it. Codes and arguments are those of acts.Refusal;
// a broken rule of the ledger comes as "rule_" and its code.
func Refusal(code string, args map[string]string) string {
	if rule, ok := strings.CutPrefix(code, "rule_"); ok {
		return Rule(rule, args)
	}
	if code == "not_allowed" {
		return sayCode(notAllowedWords, args["why"], args)
	}
	if code == "not_found" {
		return sayCode(notFoundWords, args["what"], args)
	}
	if code == "erase_kept" {
		args = withKind(args)
	}
	if code == "passphrase_wrong" && args["left"] == "" {
		return "The signing passphrase is wrong. Type it again."
	}
	if code == "stand_down_unsigned" {
		return "The stand-down is in force, but it is not signed. " + Refusal(args["cause"], args) + " Sign it from the apprentice's record."
	}
	return sayCode(refusalWords, code, args)
}

// Rule says a broken rule of the ledger (store/ledger.RuleError).
func Rule(code string, args map[string]string) string {
	if code == "erase_kept" {
		args = withKind(args)
	}
	return sayCode(ruleWords, code, args)
}

// withKind puts the words for a kind of record in the place of its code.
func withKind(args map[string]string) map[string]string {
	said := maps.Clone(args)
	said["kind"] = strings.ToLower(RecordKind(args["kind"]))
	return said
}

// RecordKind says a kind of record (readiness.RecordKind).
func RecordKind(kind string) string { return sayCode(recordKindWords, kind, nil) }

var recordKindWords = map[string]string{
	"training":   "Work and training",
	"clearances": "Clearances and stand-downs",
	"matters":    "Returns and disputes",
	"agreements": "Agreements, leave and cohorts",
	"authority":  "Roles and appointments",
	"account":    "Name, log-in and signing keys",
	"programme":  "Work on the programme",
}

var notAllowedWords = map[string]string{
	"no_role":            "None of your roles allows this. Ask a coordinator.",
	"self":               "Nobody signs or decides for themselves. Ask somebody else who has the authority.",
	"left":               "Your training agreement has ended, so your record can be read but not added to. Ask your coordinator if that is wrong.",
	"other_site":         "Your role does not reach this site. Ask somebody there, or your coordinator.",
	"not_appointed":      "You are not appointed for this task at this site today. A coordinator can appoint you.",
	"not_own":            "You may do this for yourself only.",
	"not_apprentice":     "Your role allows this for apprentices only. Ask a coordinator.",
	"ordered_by_another": "Somebody else ordered this stand-down, so only they can sign it.",
}

var notFoundWords = map[string]string{
	"":            "There is nothing here by that name. It may have been typed wrongly, or the link may be old.",
	"person":      "There is no such person on the roster. Check the name, or look for them in the roster.",
	"question":    "No theory test of that kind was handed in with such a question. Open the list of questions again.",
	"job":         "There is no such job. It may have been typed wrongly, or the link may be old.",
	"photograph":  "There is no such photograph. It may have been undone or erased.",
	"case":        "There is no such case. Open the list of cases to find it.",
	"test":        "There is no such theory test. Go to your tests and open it from there.",
	"programme":   "There is no such programme edition in the database.",
	"draft":       "There is no such draft. It may have been adopted or thrown away.",
	"note":        "There is no such note.",
	"file":        "There is no such file in the programme. Choose one of the list.",
	"stand_down":  "There is no such stand-down. Open the apprentice's record to find it.",
	"role":        "This person has no such role. Open the roster again: it may have changed.",
	"appointment": "This person has no such appointment. Open the roster again: it may have changed.",
	"entry":       "There is no such entry. Open it from the record.",
	"record":      "This entry gives no record that could be corrected. It can be withdrawn.",
	"agreement":   "This person has no such agreement. Open the roster again: it may have changed.",
}

var refusalWords = map[string]string{
	// anywhere
	"bad_id":         "“{id}” is not an id that can be used. Leave it out and one is made.",
	"id_taken":       "This was sent before with other content. Open the page again and look at what is there.",
	"busy":           "Many people are logging in or signing right now. Wait a moment and try again.",
	"bad_text":       "The text holds signs that cannot be stored. Type it again by hand.",
	"text_too_long":  "The text is too long. Shorten it.",
	"reason_needed":  "Write the reason.",
	"bad_date":       "“{date}” is not a date. Write it as year-month-day, such as 2026-03-09.",
	"ends_in_past":   "{date} has passed. Choose today or a later day.",
	"future":         "{date} has not come yet. Choose today or an earlier day.",
	"nothing_chosen": "Nothing is chosen. Choose at least one.",
	"unknown_task":   "The programme has no task “{task}”. Choose one of its tasks.",
	"unknown_site":   "There is no site “{site}”. Choose one of the list, or add it first.",
	"unknown_zone":   "“{zone}” is not a time zone. Use a name such as America/Denver.",
	"untried":        "Nothing has been recorded for this task yet, so there is nothing to decide on. Begin with the lesson, the theory test or a watched job.",

	// log-in
	"login_failed":    "Log-in name and password do not match. Check both and try again, or ask a supervisor for a one-time code.",
	"login_throttled": "There were too many failed tries. Wait, then try again.",
	"login_locked":    "There were a hundred failed tries in a row, so this log-in is locked. Ask a supervisor or coordinator for a one-time code.",
	"code_failed":     "This code does not fit, has been used, or has run out. Ask a supervisor or coordinator for a new one.",
	"code_locked":     "There were a hundred failed tries with codes, so codes are locked for this log-in name. Log in with the password, or ask whoever runs the program.",
	"no_role":         "You hold no role here today, so you cannot log in. Ask your coordinator.",
	"session_over":    "You are logged out. Log in again; nothing that was saved is lost.",
	"password_wrong":  "The present password is wrong. Type it again.",

	"password_too_short":      "The password is too short. Use at least {least} characters; four or five unrelated words are good.",
	"password_too_long":       "The password is too long. Use at most {most} characters.",
	"password_bad_text":       "The password holds signs that cannot be typed everywhere. Use letters, digits, spaces and punctuation.",
	"password_easily_guessed": "The password is easily guessed. Take out names, the programme's title and common words or rows of keys, and add unrelated words.",

	"passphrase_too_short":      "The signing passphrase is too short. Use at least {least} characters; three or four unrelated words are good.",
	"passphrase_too_long":       "The signing passphrase is too long. Use at most {most} characters.",
	"passphrase_bad_text":       "The signing passphrase holds signs that cannot be typed everywhere. Use letters, digits, spaces and punctuation.",
	"passphrase_easily_guessed": "The signing passphrase is easily guessed. Take out names, the programme's title and common words or rows of keys, and add unrelated words.",
	"passphrase_is_password":    "The signing passphrase must not be the password. Choose another.",

	// erasing
	"erase_role":      "This person still holds a role. End it first.",
	"erase_agreement": "A training agreement still runs. End it first.",
	"erase_kept":      "Records of {kind} must be kept until {date}: {years:one year|years} from the last of them or the end of the agreement, as the policy says.",
	"erase_dispute":   "A dispute is not settled yet. Settle it first.",
	"erase_case":      "A car that came back is not settled yet. Finish that case first.",
	"erase_confirm":   "Type the person's log-in name, {login}, to confirm.",

	// keys
	"no_key":              "There is no signing key yet. Make one under “My account”, then a coordinator confirms it.",
	"key_waiting":         "The signing key waits for a coordinator to confirm it. Ask a coordinator.",
	"no_key_waiting":      "{person} has no key that waits any more. Open the page again.",
	"passphrase_needed":   "Type the signing passphrase.",
	"passkey_asked":       "Your device is asked to sign.",
	"passkey_only":        "You have no signing passphrase. Sign with your passkey, or make a key under a passphrase on your account’s page.",
	"passphrase_here":     "Here only the signing passphrase can be used. Type it, or add the coordinator’s role on the person’s own page.",
	"no_passkey_here":     "None of your passkeys in force signs at this address. Type your signing passphrase, or make a passkey here.",
	"passkey_needs_https": "A passkey can be made only where this site is opened over https, by its name. Here the signing passphrase remains.",
	"passkey_kind":        "Your device made a key of a kind that cannot sign here. Use another device, or a signing passphrase.",
	"passkey_unreadable":  "The device’s answer did not arrive whole, so nothing was signed. Try again.",
	"passkey_failed":      "The device’s signature does not fit what was shown, so nothing was signed. Try again; if it happens again, use your passphrase and tell a coordinator.",
	"passkey_expired":     "The device took too long, or was asked twice, so nothing was signed. Try again.",
	"passkey_other_act":   "What was shown has changed since your device was asked, so nothing was signed. Read it again, then sign.",
	"passphrase_wrong":    "The signing passphrase is wrong. {left:try is|tries are} left before you must log in again.",
	"passphrase_locked":   "The signing passphrase was wrong {tries} times in a row. Log in again with the password, then sign.",

	// lessons and tests
	"unknown_lesson":      "The programme has no lesson “{lesson}”. Open it from the list of lessons.",
	"unknown_edition":     "This lesson never had that edition. Open the lesson again and read it there.",
	"unknown_vehicle":     "The programme has no vehicle “{vehicle}”. Choose one of its vehicle sheets.",
	"no_test":             "The programme has no theory test for “{task}”. Ask a coordinator to add a blueprint.",
	"no_questions":        "No question can be made for “{task}” on this vehicle. Choose another vehicle.",
	"test_handed_in":      "This theory test has been handed in, so its answers stand.",
	"test_open":           "This theory test is still being taken. Its result can be seen after it is handed in.",
	"unknown_question":    "This theory test has no such question. Open the test again.",
	"bad_answer":          "The answer does not fit the question. Choose or type it again.",
	"ask_back":            "One figure can be read in two ways. Write it with a decimal point and no other sign, such as 1.234 or 1234.",
	"question_voided":     "This question is voided already, so there is nothing to change. Open its page again.",
	"question_not_voided": "This question counts, so there is nothing to put back. Open its page again.",
	"marks_changed":       "A theory test was handed in, or another question was voided, since this page was made. Look at what changes now, then sign again.",
	"watched_by_another":  "Another supervisor watches this theory test. Ask them to hand it over.",

	// jobs
	"apprentice_left":             "{name}'s training agreement has ended, so nothing more can be recorded. If that is wrong, correct the agreement first.",
	"induction_first":             "{name} has not done “{induction}” yet. It comes before any watched job: do it first.",
	"at_another_job":              "{name} is at another car right now: job {number}, {task}. Pause or finish that job first; one apprentice cannot be at two cars at once.",
	"planned_past":                "That time has passed. Choose a later one, or leave it empty for now.",
	"planned_far":                 "That is too far ahead. Ask for a time within {days:day|days}.",
	"cannot_watch":                "This person cannot watch the job. Choose another supervisor who is appointed for the task at this site.",
	"bad_job_number":              "“{number}” is no job number. It stands at the top of the printed sheet, such as 217.",
	"job_paused":                  "The job is paused. Resume it, then tap again.",
	"unknown_event":               "“{event}” cannot be done with a job. Pause it or resume it.",
	"cannot_undo":                 "This cannot be undone. It stays in the job's history.",
	"unknown_stepped_in":          "“{stepped_in}” does not say who stepped in. Choose supervisor, other or nobody, at a critical error only.",
	"too_many_readings":           "These are too many readings. Enter {most} at most.",
	"one_reading":                 "This measurement takes one reading, and “{value}” is more than one. Enter the one that counts.",
	"instrument_needed":           "Name the instrument whose calibration this is.",
	"bad_draw":                    "There are no such questions. Choose a set from 1 to {most}.",
	"photo_needed":                "Choose a photograph.",
	"photo_kind":                  "This is no photograph that can be used. Send a JPEG, PNG or WebP; on a phone, set the camera to JPEG.",
	"photo_unreadable":            "The photograph is damaged and cannot be read. Take it again.",
	"photo_too_large":             "The photograph is larger than {most} MB. Take it at a lower resolution.",
	"photo_pixels":                "The photograph has more than {most} million pixels. Take it at a lower resolution.",
	"too_many_photos":             "The job has {most} photographs, which is the most it can have. Undo one first.",
	"time_needed":                 "Write the day and the time.",
	"bad_time":                    "“{time}” is not a time. Write it as 2026-03-09T14:30.",
	"paper_future":                "The job cannot have ended in the future. Check the times on the sheet.",
	"paper_long":                  "A job does not run for more than {days:day|days}. Check the times on the sheet.",
	"paper_order":                 "The job must end after it began. Check the times on the sheet.",
	"paper_has_taps":              "This job has taps made at the car already, so it is not entered from paper. Finish it here.",
	"paper_overlaps":              "{name} was at another car at that time: job {number}, {task}. Check the times on the sheet.",
	"paper_no_pause":              "A job entered from paper is not paused. Write its pauses into a note.",
	"paper_photo_needed":          "A job entered from paper needs a photograph of the printed sheet. Add it on the job's page.",
	"paper_second_needed":         "The job of {name} on {date} was entered from paper. A second person with authority must sign, too.",
	"unknown_finding":             "“{finding}” is not a finding. Choose one of the list.",
	"finding_needs_words":         "Say what was found.",
	"search_needed":               "Write a plate, a work order or a job number.",
	"not_a_job":                   "This entry is no job. Choose among the jobs that were found.",
	"jobs_of_several":             "These jobs are not all the same apprentice's. Open one case for each.",
	"too_many_jobs":               "These are too many jobs for one case. Choose the ones that matter.",
	"whose_work":                  "Choose a job, or say whose work it was.",
	"case_closed":                 "This case has its finding already.",
	"vehicle_or_car":              "Choose a training vehicle, or describe the car: one of the two.",
	"car_problems":                "Some of what describes the car cannot be used. Each place is marked.",
	"no_procedure":                "The lessons of “{task}” have no procedure, so there is nothing to watch.",
	"unknown_setting":             "“{setting}” is not a setting. Choose bench, training vehicle or customer's car.",
	"job_not_taken":               "Nobody watches this job yet. Take it first.",
	"not_watching":                "You are not the one who watches this. Take it over first.",
	"job_begun":                   "A supervisor is watching this job already, so it cannot be taken back. Tell the supervisor.",
	"job_finished":                "This job has an outcome and waits for the signature of who watched it.",
	"job_not_finished":            "This job has no outcome yet. Tap how it ended, then sign.",
	"job_signed":                  "This job is signed, so it cannot be changed.",
	"job_withdrawn":               "This job was taken back or declined. Ask for a new one.",
	"job_twice":                   "The same job is chosen twice.",
	"ids_and_jobs_differ":         "There must be one id for each job, or none at all.",
	"missing_steps":               "Before it is finished, {count:critical step or hold point needs|critical steps and hold points need} a tap of their own: {steps}.",
	"tap_count":                   "Send between one and {most} taps at a time.",
	"tap_empty":                   "This tap says nothing. Give it a result, a decision, a reading, an outcome, a note or an undo.",
	"tap_mixed":                   "This tap says two things at once. Send a tap for each.",
	"unknown_step":                "There is no step “{step}” here. Open the page again.",
	"unknown_result":              "“{result}” is not a result. Choose unaided, prompted, taken over or not applicable.",
	"own_tap_needed":              "“{step}” is a critical step or a hold point. It needs a tap of its own.",
	"bulk_unaided_only":           "Several steps together can only be unaided. Tap the others one by one.",
	"not_a_critical_step":         "“{step}” is not a critical step, so no critical error can happen there. Write a note, or mark a near miss.",
	"error_not_possible":          "“{step}” does not apply to this car, so no critical error can have happened there.",
	"what_happened_needed":        "Write what happened at “{step}”: what would have left the car unsafe, and who stepped in.",
	"what_happened_without_error": "What happened belongs to a critical error. Mark the error, or write a note.",
	"not_a_hold_point":            "“{step}” is not a hold point. Tap how it was done.",
	"unknown_hold":                "“{hold}” is not a decision. Accept the hold point or send it back.",
	"not_your_decision":           "Another supervisor decided this hold point. Only they can take that back.",
	"unknown_tap":                 "There is no such tap to undo. Open the job again.",
	"unknown_difficulty":          "“{difficulty}” is not a difficulty. Choose routine, usual or awkward.",
	"unknown_outcome":             "“{outcome}” is not an outcome. Choose finished, rightly stopped, stopped by supervisor or interrupted.",
	"unknown_measure":             "“{step}” asks for no such measurement. Open the job again.",
	"reading_unreadable":          "“{value}” is not a figure. Write digits with a decimal point, such as 0.35.",
	"reading_ambiguous":           "“{value}” can be read in two ways. Write {decimal} or {whole}.",
	"unknown_unit":                "“{unit}” is not a unit that the program knows. Choose one of the list.",
	"unit_of_something_else":      "{unit} measures something else. Give the reading in {wanted}, or in a unit of the same kind.",

	// a car described on the spot
	"car_missing":             "This must be filled in.",
	"car_wheel_contradicts":   "Wheel {wheel} cannot be {one} and {other} at once. Choose one of the two.",
	"car_unknown_layout":      "The programme has no layout “{layout}”. Choose one of the list.",
	"car_unknown_feature":     "The programme has no feature “{feature}”. Choose from the list.",
	"car_too_many_values":     "There are too many {name}: at most {limit}.",
	"car_bad_id":              "“{id}” cannot name a wheel. Use letters, digits and hyphens, such as LF.",
	"car_duplicate_entry":     "“{value}” stands there twice. Take one out.",
	"car_unknown_order":       "No step asks for an order “{order}”. Take it out.",
	"car_unknown_wheel":       "This car has no wheel “{wheel}”. Use the names of its wheels.",
	"car_order_leaves_out":    "The order “{order}” leaves out wheel {wheel}. Name every wheel once.",
	"car_unknown_vehicle_key": "No vehicle sheet of the programme has “{key}”. Choose one of the figures asked for.",
	"car_bad_decimal":         "“{value}” is not a figure. Write digits with a decimal point, such as 20.5.",
	"car_range_reversed":      "The range {value} runs backwards. Write the lower figure first.",
	"car_unknown_unit":        "“{unit}” is not a unit that the program knows. Choose one of the list.",
	"car_unit_mismatch":       "{unit} measures something else. Use {other}, or a unit of the same kind.",
	"car_limit_differs":       "The programme knows {key} as {other}, not as {limit}. Leave the kind of limit as it is.",
	"car_limit_mismatch":      "The figure does not fit the kind of limit ({limit}): a range has two ends, the others one.",
	"car_duplicate_id":        "{id} is given twice. Take one out.",

	// signing and deciding
	"decision_needed":      "{name} is cleared for “{task}” and made a critical error. Decide now: stand down, or keep the clearance with a reason.",
	"late_second_needed":   "{name}'s job of {date} is older than the programme lets one person sign. Write why it is late, and have a second person sign with you.",
	"too_late":             "{date} is more than {days:day|days} ago. Such a job can no longer be logged; tell your supervisor.",
	"second_needed":        "This takes a second person: a coordinator, or a supervisor appointed for the task. Enter their log-in name and signing passphrase.",
	"second_not_allowed":   "This person cannot sign as the second. It takes a coordinator, or a supervisor appointed for the task.",
	"second_is_first":      "The second signature must be another person's.",
	"unknown_layout":       "The programme has no layout “{layout}”, or it is named twice. Choose from the list.",
	"unknown_hold_point":   "The task has no hold point “{step}”, or it is named twice. Choose from the list.",
	"stood_down":           "The apprentice is stood down. Lift the stand-down first.",
	"already_cleared":      "The apprentice is cleared already, with the same limits. Change the limits, or leave it.",
	"verdict_changed":      "The standing has changed since you saw it. Look at it again, then decide.",
	"waiver_needed":        "Not every gate is open: {gates}. To clear anyway, set each of them aside by name, with a reason, an end and a second person.",
	"waiver_not_needed":    "Every gate is open and the confidence suffices. Clear without a waiver.",
	"waiver_reason_needed": "The standing is not yet ready, so write the reason for clearing all the same.",
	"waiver_end_needed":    "A gate can be set aside until a date only. Choose the last day.",
	"gate_not_closed":      "The gate “{gate}” is not closed, so it cannot be set aside. Look at the standing again.",
	"not_cleared":          "You were not cleared for “{task}” on {date}. Unwatched jobs can be logged for tasks that you are cleared for.",

	"dispute_too_late":    "The time to dispute this ended on {date}, and silence counts as agreement. A supervisor or coordinator can still dispute or correct it: ask one.",
	"corrected_already":   "This was corrected already. Correct that correction. If you stand by yours all the same, say so: the two then contradict each other, and somebody else settles which stands.",
	"nothing_changed":     "Nothing is changed, so there is nothing to correct.",
	"only_withdrawn":      "An entry of this kind can only be withdrawn. Then enter it anew.",
	"text_needed":         "Write your side of it.",
	"lifts_needed":        "Write what must happen before the stand-down is lifted.",
	"gate_not_recognised": "Earlier training cannot stand for “{gate}”, or it is named twice. Choose from the list.",
	"bad_number":          "Write a number of jobs between 0 and 1,000.",
	"cannot_own":          "{name} may not decide this: it takes somebody with authority over the task who made none of it. Choose another person.",
	"no_key_in_force":     "{name} has no signing key in force, so there is nothing to end.",
	"unknown_key_end":     "“{why}” is no reason to end a key. Choose lost or compromised.",

	// roster
	"people_problems":        "Some rows cannot be added, so nobody was. Each place is marked.",
	"people_count":           "Add between one and {most} people at a time.",
	"name_needed":            "Write the name.",
	"name_as_it_is":          "The name and the log-in name are that already. Change one of them.",
	"bad_name":               "The name is too long or holds signs that cannot be stored. Type it again by hand.",
	"name_taken":             "There is already a “{name}”. Choose another name.",
	"bad_login":              "“{login}” cannot be a log-in name. Use 2 to 64 letters, digits and . _ - @ +.",
	"login_taken":            "Somebody has this log-in name already. Choose another.",
	"unknown_role":           "“{role}” is not a role. Choose apprentice, supervisor or coordinator.",
	"unknown_cohort":         "There is no cohort “{cohort}”. Choose one of the list, or add it first.",
	"cohort_of_apprentice":   "Only apprentices belong to a cohort. Leave it empty.",
	"cohort_elsewhere":       "This cohort belongs to another site. Choose the cohort's own site, or another cohort.",
	"employer_of_apprentice": "Only apprentices have a training agreement. Leave the employer empty.",
	"employer_needed":        "Write the employer's name.",
	"site_not_yours":         "Your role does not reach this site. Choose a site of yours.",
	"site_needed":            "Choose the site.",
	"ends_before_it_begins":  "The last day ({until}) is before the first ({from}). Mend one of them.",
	"author_not_apprentice":  "An apprentice cannot have the author right. Give a supervisor's or coordinator's role first.",
	"role_held":              "{name} holds this role already.",
	"not_supervisor":         "{name} is not a supervisor there at that time. Give the role first, then appoint.",
	"not_apprentice":         "{name} is not an apprentice. Give the role first.",
	"leave_overlaps":         "There is already a leave from {from} to {to}. Choose days outside it.",
	"bad_origin":             "“{origin}” cannot name the ledger. Use a name without spaces or plus signs, such as brakes.example.org/north.",

	// programme
	"offer_broken":          "The offered folder has errors, so it cannot be adopted. Mend them first.",
	"offer_changed":         "The folder has changed since you saw it. Look at the changes again, then adopt.",
	"zip_unreadable":        "This is no zip archive that can be read. Pack the folder again and upload it.",
	"zip_path":              "The archive holds “{name}”, which leads out of the folder or is a link. Pack plain files only.",
	"zip_twice":             "The archive holds “{name}” twice. Pack the folder again.",
	"zip_too_large":         "The archive unpacks to more than any programme needs (32 MiB, 5,000 files). Pack the programme's own folder only.",
	"zip_no_programme":      "The archive has no programme.yaml at its top. Pack the folder that holds it.",
	"file_not_writable":     "“{name}” is no lesson, vehicle sheet or programme.yaml. Choose one of the list.",
	"note_empty":            "Write what the note says.",
	"note_removed":          "This note was taken off already.",
	"nothing_to_confirm":    "Nothing of this lesson has changed since what you were shown, or more has. Look again at what changed.",
	"supposed_jobs":         "Suppose whole numbers from 0 to {most}.",
	"parameters_same":       "This snapshot is in force already. There is nothing to adopt.",
	"parameters_unreadable": "The snapshot cannot be read: {text}. Take a file that brakewright calibrate wrote.",
	"offer_same":            "The folder is the same as the edition in use. There is nothing to adopt.",
}

var ruleWords = map[string]string{
	"not_first":          "This cannot stand at this place in the ledger.",
	"no_such_person":     "There is no such person on the roster.",
	"person_known":       "A person with this id is on the roster already.",
	"erase_role":         refusalWords["erase_role"],
	"erase_agreement":    refusalWords["erase_agreement"],
	"erase_kept":         refusalWords["erase_kept"],
	"erase_dispute":      refusalWords["erase_dispute"],
	"erase_case":         refusalWords["erase_case"],
	"erase_date":         "Something was recorded of this person in the meantime. Open the page again: the records had to be kept until {date}.",
	"wrong_erasure":      "What comes along is no erasure of this person, or nothing that shows who signed it.",
	"erasure_unproved":   "It is not shown that a coordinator of this programme signed the erasure. A coordinator must erase this person again.",
	"person_erased":      "This person was erased, so nothing more can be recorded about them or by them.",
	"no_such_site":       "There is no such site. Add it first.",
	"site_known":         "A site with this id is there already.",
	"no_such_cohort":     "There is no such cohort. Add it first.",
	"cohort_known":       "A cohort with this id is there already.",
	"already_member":     "This person is in the cohort already.",
	"not_member":         "This person is not in the cohort.",
	"unknown_zone":       "“{zone}” is not a time zone. Use a name such as America/Denver.",
	"future":             "This would lie in the future. Check the clock of the device.",
	"too_old":            "{date} is more than {days:day|days} ago. This can no longer be entered.",
	"late_needs_reason":  "{date} is more than {days:day|days} ago. Write why it is entered late.",
	"late_needs_second":  "{date} is more than {days:day|days} ago. A second person must sign, too.",
	"not_allowed":        "Your roles do not allow this. Ask a coordinator.",
	"not_appointed":      "You were not appointed for this task at this site on {date}. A coordinator can appoint you.",
	"not_apprentice":     "This person was not an apprentice on {date}. Check the roster.",
	"oneself":            "Nobody signs or decides for themselves. Ask somebody else who has the authority.",
	"unsigned":           "Your signature is missing. Type the signing passphrase.",
	"second_needed":      "A second person must sign: a coordinator, or a supervisor appointed for the task.",
	"second_not_allowed": "The second person has no authority here. It takes a coordinator, or a supervisor appointed for the task.",
	"signed_twice":       "The second signature must be another person's.",
	"too_many_signed":    "There are more signatures than this needs. Two people at most sign.",
	"key_unknown":        "The signing key is not known here. Make a new one and have it confirmed.",
	"key_not_in_force":   "The signing key is no longer in force. Make a new one and have it confirmed.",
	"bad_signature":      "The signature does not fit. Sign again.",
	"new_key_unsigned":   "The new key has not signed for itself. Make it again.",
	"needs_coordinator":  "A coordinator must sign this.",
	"key_known":          "A key with this id is there already. Make it again.",
	"not_their_key":      "This key is another person's.",
	"already_ended":      "This has ended already. Open the page again.",
	"end_before_start":   "The last day ({date}) is before it began ({from}). Choose a later day.",
	"last_coordinator":   "Somebody must stay who is a coordinator for good. Give another person the role first.",
	"not_supervisor":     "This person is not a supervisor on {date}. Give the role first.",
	"no_such_entry":      "There is no such entry in the ledger.",
	"wrong_entry":        "This entry cannot be named here.",
	"somebody_elses":     "This entry is about another person.",
	"no_such_test":       "There is no such theory test.",
	"test_handed_in":     "This theory test has been handed in already.",
	"other_task":         "This belongs to another task.",
	"not_handed_in":      "This theory test is still open, so it has no marks to change.",
	"already_voided":     "This question is voided already.",
	"not_voided":         "This question is not voided, so there is nothing to put back.",
	"marks_outdated":     "A theory test was handed in, or a question was voided, a moment before. Do it again.",
	"job_signed":         "This job is signed already.",
	"not_watched":        "You are not among those who watched this job, so you cannot sign it.",
	"photo_missing":      "A photograph is missing. Take it again.",
	"paper_needs_photo":  "A job entered from paper needs a photograph of the sheet. Add it first.",
	"case_closed":        "This case has its finding already. A correction that withdraws the finding opens it again.",
	"already_signed":     "This stand-down is signed already.",
	"not_theirs":         "Somebody else ordered this stand-down, so only they can sign it.",
	"nothing_to_restore": "No stand-down is open, so there is nothing to lift.",
	"ordered_it":         "Whoever ordered a stand-down cannot lift it. Ask somebody else who has the authority.",
	"already_disputed":   "This entry is disputed already.",
	"not_disputed":       "Nobody disputes this entry.",
	"is_party":           "Who made, signed, corrected or disputed an entry cannot settle it. Ask somebody else.",
	"ends_in_past":       "{date} has passed. Choose today or a later day.",
	"end_reaches_back":   "A key that was changed or lost ends when that is said, not before. If somebody else had it, say compromised.",
	"countersigned":      "This is countersigned already.",
	"contradicting":      "Corrections of this entry contradict each other. Say which one stands, or that none of it counts.",
	"login_taken":        "Somebody has this log-in name already. Choose another.",
}
