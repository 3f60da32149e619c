package storetest

import (
	"encoding/base64"
	"fmt"
	"time"

	"brakewright/store/ledger"
)

// Past is what happens in FullHistory: the entries by a name for each.
type Past map[string]string

// FullHistory makes at least one entry of every type, over three weeks, and returns their ids by name. It needs two
// coordinators, three supervisors, four apprentices and two tasks, as New founds by default.
func (w *World) FullHistory() Past {
	w.T.Helper()
	past := Past{}
	ada, cora := w.Coordinators[0], w.Coordinators[1]
	sam, sue, sid := w.Supervisors[0], w.Supervisors[1], w.Supervisors[2]
	pat, pia, pim, pam := w.Apprentices[0], w.Apprentices[1], w.Apprentices[2], w.Apprentices[3]
	bleed, caliper := w.Tasks[0], w.Tasks[1]
	why := map[string]string{"reason": "because it was so"}
	do := func(name string, sub *ledger.Submission) {
		w.T.Helper()
		past[name] = w.Append(sub).ID
		w.Clock.Add(7 * time.Minute)
	}
	day := func(n int) { w.Clock.Add(time.Duration(n) * 24 * time.Hour) }

	south, summer := w.ID(), w.ID()
	do("site", w.Make(cora.ID, ledger.SiteAdded, "", ledger.SitePayload{Site: south, Name: "South shop", Zone: "America/New_York"}, nil, nil))
	do("cohort", w.Make(cora.ID, ledger.CohortAdded, "", ledger.CohortPayload{Cohort: summer, Name: "Summer", Site: south}, nil, nil))
	do("joined", w.Make(cora.ID, ledger.CohortJoined, pam.ID, ledger.MembershipPayload{Cohort: summer, Date: w.Today()}, nil, nil))
	do("renamed", w.Make(pat.ID, ledger.PersonRenamed, pat.ID, ledger.PersonPayload{}, map[string]string{"name": "Pat Renamed", "login": "pat.renamed"}, nil))
	do("password", w.Make(pat.ID, ledger.PasswordSet, pat.ID, ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte("$argon2id$v=19$m=64,t=1,p=1$c29tZXNhbHQ$b3RoZXI")}))
	do("author", w.Make(ada.ID, ledger.RoleGranted, sid.ID, ledger.RolePayload{Role: "supervisor", From: w.Today(), Author: true, Site: w.Site}, nil, nil, ada.Signer))
	do("programme", w.programme(cora))
	do("parameters", w.Make(cora.ID, ledger.ParametersAdopted, "", ledger.ParametersPayload{}, nil, map[string][]byte{"parameters": []byte(`{"format":"x"}`)}, cora.Signer))
	do("leave", w.Make(cora.ID, ledger.LeaveTaken, pia.ID, ledger.LeavePayload{From: w.Today(), To: w.Today()}, why, nil))
	do("short leave", w.Make(cora.ID, ledger.LeaveTaken, pim.ID, ledger.LeavePayload{From: w.Today(), To: w.Today()}, nil, nil))
	do("key changed", w.newKey(sid, cora))

	day(1)
	for i, p := range []*Member{pat, pia, pim} {
		do(fmt.Sprintf("reading %d", i), w.Make(p.ID, ledger.LessonRead, p.ID, ledger.ReadingPayload{Lesson: bleed, Edition: ledger.Hash([]byte("lesson"))}, nil, nil))
	}
	form := []byte(`{"format":"brakewright-form/1","programme_edition":"` + ledger.Hash([]byte("edition")) + `"}`)
	do("test", w.Make(pat.ID, ledger.TestIssued, pat.ID, ledger.TestIssuedPayload{Task: bleed, Blueprint: "bleed-test", Seed: "18446744073709551615", Number: 1, Vehicle: "bench-wagon"}, nil, map[string][]byte{"form": form}))
	do("open test", w.Make(pia.ID, ledger.TestIssued, pia.ID, ledger.TestIssuedPayload{Task: bleed, Blueprint: "bleed-test", Seed: "0", Number: 2}, nil, map[string][]byte{"form": []byte(`{}`)}))
	do("handed in", w.HandIn(pat, past["test"], bleed, sam))
	do("note", w.Make(cora.ID, ledger.ShopNote, "", ledger.ShopNotePayload{Lesson: bleed, Step: "s2"}, map[string]string{"note": "the key hangs at bay 3"}, nil))
	do("note taken off", w.Make(ada.ID, ledger.ShopNote, "", ledger.ShopNotePayload{Lesson: bleed, Step: "s2", Removes: past["note"]}, nil, nil))
	do("voided", w.Void(cora, "q2", 1, false, ledger.TestRemarked{Test: past["test"], Apprentice: pat.ID, Points: 9, Max: 10, Percent: 90, Passed: true, PassedThen: true,
		Questions: []ledger.QuestionDone{{Question: "q1", Task: bleed, Correct: true}}}))
	do("voided in all editions", w.Void(ada, "q3", 1, false))
	do("restored question", w.Void(cora, "q3", 1, true))

	day(1)
	do("job", w.SignOff(sam, pat, bleed, nil))
	do("second job", w.SignOff(sue, pat, bleed, func(p *ledger.SignOffPayload) {
		p.Steps[2].Result, p.Steps[2].CriticalError, p.NearMiss = "taken_over", true, true
		p.Outcome = "stopped_by_supervisor"
	}))
	do("job at a site", w.at(w.Site, w.SignOff(sid, pia, caliper, nil), sid))
	do("recognition", w.Make(sam.ID, ledger.Recognised, pim.ID, ledger.RecognitionPayload{Task: bleed, StandsFor: []string{"reading", "jobs"}, Jobs: 3}, why, nil, sam.Signer, cora.Signer))
	verdict := map[string][]byte{"verdict": []byte(`{"ready":true}`), "policy": []byte(`{"target":1}`), "parameters": []byte(`{"format":"x"}`)}
	clear := ledger.ClearancePayload{Task: bleed, Programme: ledger.Hash([]byte("edition")), Program: "1.0"}
	do("clearance", w.Make(sam.ID, ledger.ClearanceGiven, pat.ID, clear, nil, verdict, sam.Signer))
	waived := clear
	waived.Layouts, waived.Holds, waived.Until = []string{"diagonal"}, []string{bleed + "/s2"}, "2026-12-31"
	waived.Waiver = &ledger.WaiverMade{Gates: []string{"jobs"}, Until: "2026-06-30"}
	do("waiver", w.Make(sue.ID, ledger.ClearanceGiven, pim.ID, waived, why, verdict, sue.Signer, sam.Signer))

	day(2)
	do("unwatched", w.Make(pat.ID, ledger.UnwatchedJob, pat.ID, ledger.UnwatchedJobPayload{Task: bleed, Date: w.Today()}, map[string]string{"work_order": "WO-77", "notes": "alone"}, nil))
	do("spot check", w.Make(sue.ID, ledger.SpotCheck, pat.ID, ledger.SpotCheckPayload{Task: bleed, Finding: "flaw"}, map[string]string{"notes": "bleeder cap missing"}, nil, sue.Signer))
	do("case", w.Make(cora.ID, ledger.CaseOpened, pat.ID, ledger.CaseOpenedPayload{Task: bleed, Jobs: []string{past["job"], past["unwatched"]}, People: []string{pat.ID, sam.ID, cora.ID}}, map[string]string{"work_order": "WO-77", "what_happened": "soft pedal"}, nil))
	do("open case", w.Make(sue.ID, ledger.CaseOpened, pia.ID, ledger.CaseOpenedPayload{Task: bleed, Jobs: []string{}, People: []string{pia.ID}}, map[string]string{"what_happened": "pulls to one side"}, nil))
	do("return", w.Make(cora.ID, ledger.Return, pat.ID, ledger.ReturnPayload{Task: bleed, Finding: "our_work", Case: past["case"]}, map[string]string{"car": "blue wagon", "what_happened": "soft pedal"}, nil, cora.Signer))
	do("stand-down", w.Make(sam.ID, ledger.StandDownOrdered, pat.ID, ledger.StandDownPayload{Task: bleed}, why, nil))
	do("stand-down signed", w.Make(sam.ID, ledger.StandDownSigned, pat.ID, ledger.StandDownSignedPayload{StandDown: past["stand-down"]}, nil, nil, sam.Signer))
	do("stand-down of all", w.Make(sid.ID, ledger.StandDownOrdered, pim.ID, ledger.StandDownPayload{}, why, nil))
	do("restore", w.Make(sue.ID, ledger.Restored, pat.ID, ledger.RestorePayload{Task: bleed}, why, nil, sue.Signer))

	day(1)
	do("dispute", w.Make(pat.ID, ledger.Disputed, pat.ID, ledger.DisputePayload{Disputes: past["second job"]}, why, nil))
	do("settlement", w.Make(sid.ID, ledger.DisputeSettled, pat.ID, ledger.SettlementPayload{Disputes: past["second job"], Upheld: true}, why, nil, sid.Signer))
	do("open dispute", w.Make(pat.ID, ledger.Disputed, pat.ID, ledger.DisputePayload{Disputes: past["handed in"]}, why, nil))
	again := w.record(sam, bleed)
	do("correction", w.correct(sam, pat, past["job"], ledger.CorrectionPayload{SignOff: &again}))
	do("correction of a correction", w.correct(sue, pat, past["correction"], ledger.CorrectionPayload{SignOff: &again}))
	do("reading withdrawn", w.correct(cora, pia, past["reading 1"], ledger.CorrectionPayload{Withdraw: true}))
	do("test withdrawn", w.correct(cora, pat, past["handed in"], ledger.CorrectionPayload{Withdraw: true}))
	do("leave withdrawn", w.correct(cora, pim, past["short leave"], ledger.CorrectionPayload{Withdraw: true}))

	do("apprentice's key", w.newKey(pia, cora))
	do("countersigned", w.Make(pia.ID, ledger.Countersigned, pia.ID, ledger.CountersignedPayload{Entry: past["job at a site"]}, nil, nil, pia.Signer))
	do("reply", w.Make(pim.ID, ledger.Replied, pim.ID, ledger.ReplyPayload{Entry: past["stand-down of all"]}, map[string]string{"text": "I was not told"}, nil))
	do("stand-down reviewed", w.Make(sam.ID, ledger.StandDownReviewed, pim.ID, ledger.StandDownReviewPayload{StandDown: past["stand-down of all"]},
		map[string]string{"reason": "two cars were looked at", "lifts": "a watched job without an error"}, nil, sam.Signer))
	do("assigned", w.Make(cora.ID, ledger.Assigned, pim.ID, ledger.AssignedPayload{Matter: past["stand-down of all"], To: sue.ID}, nil, nil))
	one, other := w.record(sid, caliper), w.record(sid, caliper)
	other.Outcome = "interrupted"
	do("one correction", w.at(w.Site, w.correct(sid, pia, past["job at a site"], ledger.CorrectionPayload{SignOff: &one}), sid))
	do("another correction", w.at(w.Site, w.correct(cora, pia, past["job at a site"], ledger.CorrectionPayload{SignOff: &other}), cora))
	do("contradiction settled", w.Make(ada.ID, ledger.DisputeSettled, pia.ID, ledger.SettlementPayload{Disputes: past["job at a site"], Stands: past["another correction"]}, why, nil, ada.Signer))

	var come []*ledger.Submission
	gil := w.join(func(s *ledger.Submission) { come = append(come, s) }, "Gil Gone", "gil", true)
	for _, s := range come {
		do("gil comes", s)
	}
	do("gil renamed", w.Make(gil.ID, ledger.PersonRenamed, gil.ID, ledger.PersonPayload{}, map[string]string{"name": "Gil Going"}, nil))
	gus := w.join(func(s *ledger.Submission) { do("gus comes", s) }, "Gus Gone", "gus", false)

	day(10)
	old := w.Clock.Now().Add(-12 * 24 * time.Hour)
	do("late job", w.lateJob(sam, sue, pam, bleed, old))
	do("left", w.Make(cora.ID, ledger.CohortLeft, pam.ID, ledger.MembershipPayload{Cohort: summer, Date: w.Today()}, why, nil))
	p, err := w.Store.Person(w.T.Context(), pam.ID)
	if err != nil {
		w.T.Fatal(err)
	}
	do("agreement ended", w.Make(cora.ID, ledger.AgreementEnded, pam.ID, ledger.EndPayload{Ends: p.Agreements[0].Entry, Date: w.Today()}, why, nil))
	do("role ended", w.Make(cora.ID, ledger.RoleEnded, pam.ID, ledger.EndPayload{Ends: p.Roles[0].Entry, Date: w.Today()}, why, nil))
	if p, err = w.Store.Person(w.T.Context(), sid.ID); err != nil {
		w.T.Fatal(err)
	}
	do("appointment ended", w.Make(cora.ID, ledger.AppointmentEnded, sid.ID, ledger.EndPayload{Ends: p.Appointments[0].Entry, Date: w.Today()}, why, nil, cora.Signer))
	do("questioned job", w.SignOff(sue, pat, bleed, nil))
	do("key compromised", w.Make(cora.ID, ledger.KeyEnded, sue.ID, ledger.KeyEndedPayload{Key: sue.Signer.Key, Why: "compromised", From: w.Clock.Now().UnixMilli() - 15*60*1000}, why, nil))
	do("question settled", w.Make(cora.ID, ledger.DisputeSettled, pat.ID, ledger.SettlementPayload{Disputes: past["questioned job"]}, why, nil, cora.Signer))
	do("key ended", w.Make(sid.ID, ledger.KeyEnded, sid.ID, ledger.KeyEndedPayload{Key: sid.Signer.Key, Why: "changed", From: w.Clock.Now().UnixMilli()}, why, nil))

	// The two who came are erased; and an older copy put back, as if it had been.
	keeping, _, err := w.Store.Keeping(w.T.Context(), gil.ID, w.Today(), Zone)
	if err != nil {
		w.T.Fatal(err)
	}
	do("erasure", w.Make(cora.ID, ledger.Erased, gil.ID, ledger.ErasurePayload{KeptUntil: ledger.KeptUntil(keeping)}, nil, nil, cora.Signer))
	lost, err := w.Make(cora.ID, ledger.Erased, gus.ID, ledger.ErasurePayload{}, nil, nil, cora.Signer).Leaf(w.Clock.Now().UnixMilli())
	if err != nil {
		w.T.Fatal(err)
	}
	do("erased again", w.Make(ledger.KeyHolder, ledger.ErasedAgain, gus.ID,
		ledger.ErasureReplayedPayload{Erasure: base64.StdEncoding.EncodeToString(lost), Authority: []string{}}, nil, nil))
	do("put back", w.Make(ledger.KeyHolder, ledger.PutBack, "", ledger.PutBackPayload{Entries: 5, KnownSize: 9, KnownRoot: ledger.EmptyRoot.String()}, nil, nil))
	past["gil"], past["gus"] = gil.ID, gus.ID
	return past
}

// HandIn hands a theory test in: 8 of 10, passed; watchedBy may be nil.
func (w *World) HandIn(apprentice *Member, test, task string, watchedBy *Member) *ledger.Submission {
	p := ledger.TestHandedInPayload{Test: test, Task: task, Programme: ledger.Hash([]byte("edition")), Points: 8, Max: 10, Percent: 80, Passed: true,
		Questions: []ledger.QuestionDone{{Question: "q1", Task: task, Correct: true}, {Question: "q2", Task: task}}}
	if watchedBy != nil {
		p.WatchedBy = watchedBy.ID
	}
	return w.Make(apprentice.ID, ledger.TestHandedIn, apprentice.ID, p, nil, map[string][]byte{"answers": []byte(`{"q1":"a"}`), "marks": []byte(`{"points":8}`)})
}

// Void takes a question of lesson bleed out of all tests, or puts it back; handedIn is how many tests were handed in by then.
func (w *World) Void(by *Member, question string, handedIn int, restores bool, remarked ...ledger.TestRemarked) *ledger.Submission {
	p := ledger.QuestionVoidedPayload{Question: question, Lesson: "bleed", Restores: restores, Tests: handedIn, Remarked: append([]ledger.TestRemarked{}, remarked...)}
	return w.Make(by.ID, ledger.QuestionVoided, "", p, map[string]string{"reason": "two answers are right"}, nil, by.Signer)
}

// programme adopts another edition of the programme, with a shorter window.
func (w *World) programme(by *Member) *ledger.Submission {
	p := Programme(map[string]string{"programme.yaml": "title: Bench programme\npolicy:\n  backdating_days: 10\n  retention_years: 0\n", "lessons/bleed.md": "# Bleed\n"})
	sub := w.Make(by.ID, ledger.ProgrammeAdopted, "", ledger.ProgrammePayload{}, nil, map[string][]byte{"programme": p.List}, by.Signer)
	for _, b := range p.Files {
		sub.Files[ledger.Hash(b)] = b
	}
	return sub
}

// newKey adds a further key for a member, who signs with it from now on.
func (w *World) newKey(m, coordinator *Member) *ledger.Submission {
	id := w.ID()
	signer, public, sealed, err := ledger.NewKey(w.Random, id, m.ID, m.Passphrase)
	if err != nil {
		w.T.Fatal(err)
	}
	m.Signer = signer
	return w.Make(m.ID, ledger.KeyAdded, m.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, signer, coordinator.Signer)
}

// at puts a submission at a site and signs it anew.
func (w *World) at(site string, sub *ledger.Submission, by *Member) *ledger.Submission {
	sub.Body.Site, sub.Signatures = site, nil
	if err := sub.Sign(by.Signer); err != nil {
		w.T.Fatal(err)
	}
	return sub
}

// record is what a corrected sign-off says.
func (w *World) record(by *Member, task string) ledger.SignOffPayload {
	now := w.Clock.Now().UnixMilli()
	return ledger.SignOffPayload{Job: w.ID(), Task: task, Programme: ledger.Hash([]byte("edition")), Difficulty: "awkward", Setting: "bench", Outcome: "finished",
		Started: now - 2000, Finished: now - 1000, Supervisors: []string{by.ID}, Steps: []ledger.StepDone{{Step: task + "/s1", Result: "prompted"}}}
}

func (w *World) correct(by, about *Member, entry string, p ledger.CorrectionPayload) *ledger.Submission {
	h := ledger.Head{Type: ledger.Corrected, At: w.Clock.Now().UnixMilli(), Zone: Zone, Actor: by.ID, Subject: about.ID, Corrects: entry}
	return w.MakeHead(h, p, map[string]string{"reason": "it was written down wrongly"}, nil, by.Signer)
}

// lateJob is a sign-off of a job before the policy's window, with a reason and a second signature.
func (w *World) lateJob(by, second, apprentice *Member, task string, at time.Time) *ledger.Submission {
	p := w.record(by, task)
	p.Started, p.Finished = at.UnixMilli()-1000, at.UnixMilli()
	h := ledger.Head{Type: ledger.SignOff, At: at.UnixMilli(), Zone: Zone, Actor: by.ID, Subject: apprentice.ID}
	return w.MakeHead(h, p, map[string]string{"reason": "found on paper", "what_happened/" + task + "/s1": "slipped"}, nil, by.Signer, second.Signer)
}
