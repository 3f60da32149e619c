package ledger

import (
	"encoding/base64"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewright/readiness"
)

// Every rule has a row named after it: what an entry must not be, and beside it what it may.
func fromPaper(h *history, signers ...string) act {
	return h.signOff("sam", "pat", func(a *act, p *SignOffPayload) {
		p.Paper, a.sign, a.personal = true, signers, append(a.personal, "photo/1")
		p.Photos = []PhotoDone{{Field: "photo/1", Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10}}
	})
}

func (p SignOffPayload) withPhoto(x PhotoDone) *SignOffPayload {
	p.Photos = []PhotoDone{x}
	return &p
}

func caseOf(h *history, person string) act {
	job := h.do(h.signOff("sam", person, nil))
	return act{typ: CaseOpened, actor: "cora", subject: person, personal: []string{"what_happened"},
		payload: CaseOpenedPayload{Task: "bleed", Jobs: []string{job}, People: []string{h.id(person), h.id("sam")}}}
}

func finding(_ *history, c string) act {
	return act{typ: Return, actor: "cora", subject: "pat", payload: ReturnPayload{Task: "bleed", Finding: "part", Case: c}, sign: []string{"cora"}}
}

func TestRules(t *testing.T) {
	reason := []string{"reason"}
	verdict := []string{"verdict", "policy", "parameters"}
	clearance := func(change func(*act, *ClearancePayload)) func(*history) act {
		return func(h *history) act {
			p := ClearancePayload{Task: "bleed", Programme: Hash(nil), Program: "test"}
			a := act{typ: ClearanceGiven, actor: "sam", subject: "pat", content: verdict, sign: []string{"sam"}}
			if change != nil {
				change(&a, &p)
			}
			a.payload = p
			return a
		}
	}
	standDown := func(h *history, by, task string) string {
		return h.do(act{typ: StandDownOrdered, actor: by, subject: "pat", payload: StandDownPayload{Task: task}, personal: reason})
	}
	restore := func(by, task string) act {
		return act{typ: Restored, actor: by, subject: "pat", payload: RestorePayload{Task: task}, personal: reason, sign: []string{by}}
	}
	signed := func(h *history) string { return h.do(h.signOff("sam", "pat", nil)) }
	correct := func(h *history, by, entry string, p CorrectionPayload) act {
		return act{typ: Corrected, actor: by, subject: "pat", corrects: entry, payload: p, personal: reason, sign: []string{by}}
	}
	dispute := func(by, entry string) act {
		return act{typ: Disputed, actor: by, subject: "pat", payload: DisputePayload{Disputes: entry}, personal: reason}
	}
	settle := func(by, entry string) act {
		return act{typ: DisputeSettled, actor: by, subject: "pat", payload: SettlementPayload{Disputes: entry}, personal: reason, sign: []string{by}}
	}
	twice := func(h *history) string { // an entry with two corrections
		entry := signed(h)
		h.do(correct(h, "sam", entry, CorrectionPayload{Withdraw: true}))
		h.do(correct(h, "sue", entry, CorrectionPayload{Withdraw: true}))
		return entry
	}
	countersign := func(h *history, entry string) act {
		if h.signers["pat"] == nil {
			h.addKey("pat", "pat", "cora")
		}
		return act{typ: Countersigned, actor: "pat", subject: "pat", payload: CountersignedPayload{Entry: entry}, sign: []string{"pat"}}
	}
	reply := func(by, entry string) act {
		return act{typ: Replied, actor: by, subject: by, payload: ReplyPayload{Entry: entry}, personal: []string{"text"}}
	}
	review := func(by, entry string) act {
		return act{typ: StandDownReviewed, actor: by, subject: "pat", payload: StandDownReviewPayload{StandDown: entry}, personal: []string{"reason", "lifts"}, sign: []string{by}}
	}
	// stolen: the founder's key was in other hands from before the shop began, so that everything it signed is in question.
	stolen := func(h *history) {
		h.do(act{typ: KeyEnded, actor: "founder", subject: "founder", payload: KeyEndedPayload{Key: h.id("founder's key"), Why: "compromised", From: 1}})
	}
	settleOf := func(by, subject, entry string, upheld bool) act {
		return act{typ: DisputeSettled, actor: by, subject: subject, payload: SettlementPayload{Disputes: entry, Upheld: upheld}, personal: reason, sign: []string{by}}
	}
	keyEntry := func(h *history, key string) string { return h.state.keyEntries[h.id("key "+key)] }
	endKey := func(h *history, why string, from int64) act {
		return act{typ: KeyEnded, actor: "sam", subject: "sam", payload: KeyEndedPayload{Key: h.id("key sam"), Why: why, From: h.now + from}}
	}
	test := func(h *history) string {
		return h.do(act{typ: TestIssued, actor: "pat", subject: "pat", payload: TestIssuedPayload{Task: "bleed", Blueprint: "bleed-test", Seed: "7", Number: 1}, content: []string{"form"}})
	}
	handIn := func(h *history, entry string, change func(*TestHandedInPayload)) act {
		p := TestHandedInPayload{Test: entry, Task: "bleed", Programme: Hash(nil), Points: 8, Max: 10, Percent: 80, Passed: true, Questions: []QuestionDone{{"q", "bleed", true}}}
		if change != nil {
			change(&p)
		}
		return act{typ: TestHandedIn, actor: "pat", subject: "pat", payload: p, content: []string{"answers", "marks"}}
	}
	void := func(h *history, tests int, change func(*QuestionVoidedPayload)) act {
		p := QuestionVoidedPayload{Question: "q", Lesson: "bleed", Tests: tests, Remarked: []TestRemarked{}}
		if change != nil {
			change(&p)
		}
		return act{typ: QuestionVoided, actor: "cora", payload: p, personal: reason, sign: []string{"cora"}}
	}
	note := func(h *history, actor, removes string) act {
		a := act{typ: ShopNote, actor: actor, payload: ShopNotePayload{Lesson: "bleed", Step: "open", Removes: removes}}
		if removes == "" {
			a.personal = []string{"note"}
		}
		return a
	}
	remarked := func(h *history, entry string) []TestRemarked {
		return []TestRemarked{{Test: entry, Apprentice: h.id("pat"), Points: 9, Max: 10, Percent: 90, Passed: true, PassedThen: true, Questions: []QuestionDone{}}}
	}
	role := func(actor, subject, r string, sign ...string) act {
		return act{typ: RoleGranted, actor: actor, subject: subject, payload: RolePayload{Role: r, From: "2026-01-06"}, sign: sign}
	}
	// late moves an act n days back.
	late := func(h *history, a act, n int64) act {
		a.at = h.now - n*day
		return a
	}

	rows := []struct {
		name string
		want string // "" is allowed
		act  func(h *history) act
	}{
		{"the opening is entry 0 only", NotFirst, func(h *history) act {
			a := h.keyAct("newcomer", "newcomer", "")
			return act{typ: Opening, actor: "newcomer", subject: "newcomer", payload: OpeningPayload{Origin: "o", Title: "t", Key: a.payload.(KeyAddedPayload).Key},
				personal: []string{"name", "login"}, content: []string{"password", "sealed_key", "data_key"}, sign: []string{"newcomer"}}
		}},

		{"the actor is known", NoSuchPerson, func(h *history) act { return role("ghost", "pat", "supervisor") }},
		{"the subject is known", NoSuchPerson, func(h *history) act { return role("cora", "ghost", "supervisor") }},
		{"a person is added once", PersonKnown, func(h *history) act {
			return act{typ: PersonAdded, actor: "cora", subject: "pat", payload: PersonPayload{}, personal: []string{"name", "login"}, content: []string{"data_key"}}
		}},
		{"a person is added by a coordinator", NotAllowed, func(h *history) act {
			return act{typ: PersonAdded, actor: "sam", subject: "new", payload: PersonPayload{}, personal: []string{"name", "login"}, content: []string{"data_key"}}
		}},
		{"a person may rename themselves", "", func(h *history) act {
			return act{typ: PersonRenamed, actor: "pat", subject: "pat", payload: PersonPayload{}, personal: []string{"name"}}
		}},
		{"a person may not rename another", NotAllowed, func(h *history) act {
			return act{typ: PersonRenamed, actor: "pat", subject: "pia", payload: PersonPayload{}, personal: []string{"name"}}
		}},
		{"a password is one's own", NotAllowed, func(h *history) act {
			return act{typ: PasswordSet, actor: "sam", subject: "pat", payload: PasswordPayload{}, content: []string{"password"}}
		}},

		{"a site named is known", NoSuchSite, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, p *SignOffPayload) { a.site = "nowhere" })
		}},
		{"a site is added once", SiteKnown, func(h *history) act {
			return act{typ: SiteAdded, actor: "cora", payload: SitePayload{Site: h.id("north"), Name: "n", Zone: zone}}
		}},
		{"a site's zone is known", UnknownZone, func(h *history) act {
			return act{typ: SiteAdded, actor: "cora", payload: SitePayload{Site: h.id("east"), Name: "n", Zone: "Local"}}
		}},
		{"an entry's zone is known", UnknownZone, func(h *history) act {
			a := role("cora", "pat", "supervisor")
			a.zone = "Mars/Olympus"
			return a
		}},
		{"a cohort is added once", CohortKnown, func(h *history) act {
			return act{typ: CohortAdded, actor: "cora", payload: CohortPayload{Cohort: h.id("winter"), Name: "w", Site: h.id("north")}}
		}},
		{"a cohort's site is known", NoSuchSite, func(h *history) act {
			return act{typ: CohortAdded, actor: "cora", payload: CohortPayload{Cohort: h.id("summer"), Name: "w", Site: h.id("nowhere")}}
		}},
		{"a cohort joined is known", NoSuchCohort, func(h *history) act {
			return act{typ: CohortJoined, actor: "cora", subject: "pat", payload: MembershipPayload{Cohort: h.id("summer"), Date: h.date(0)}}
		}},
		{"a cohort is joined once", AlreadyMember, func(h *history) act {
			a := act{typ: CohortJoined, actor: "cora", subject: "pat", payload: MembershipPayload{Cohort: h.id("winter"), Date: h.date(0)}}
			h.do(a)
			return a
		}},
		{"a cohort is left by members", NotMember, func(h *history) act {
			return act{typ: CohortLeft, actor: "cora", subject: "pat", payload: MembershipPayload{Cohort: h.id("winter"), Date: h.date(0)}}
		}},

		{"a coordinator's role is signed", Unsigned, func(h *history) act { return role("cora", "sam", "coordinator") }},
		{"a signed coordinator's role", "", func(h *history) act { return role("cora", "sam", "coordinator", "cora") }},
		{"the author right is signed", Unsigned, func(h *history) act {
			return act{typ: RoleGranted, actor: "cora", subject: "sam", payload: RolePayload{Role: "supervisor", From: h.date(0), Author: true}}
		}},
		{"an apprentice's role needs no signature", "", func(h *history) act { return role("cora", "nobody", "apprentice") }},
		{"a role is granted by a coordinator", NotAllowed, func(h *history) act { return role("sam", "nobody", "apprentice") }},
		{"no role for oneself", Oneself, func(h *history) act { return role("cora", "cora", "supervisor", "cora") }},
		{"a role is ended once", AlreadyEnded, func(h *history) act {
			entry := h.do(role("cora", "nobody", "apprentice"))
			a := act{typ: RoleEnded, actor: "cora", subject: "nobody", payload: EndPayload{Ends: entry, Date: h.date(0)}}
			h.do(a)
			return a
		}},
		{"a role never in force can be taken back", "", func(h *history) act {
			entry := h.do(role("cora", "nobody", "apprentice"))
			return act{typ: RoleEnded, actor: "cora", subject: "nobody", payload: EndPayload{Ends: entry, Date: h.date(-1)}}
		}},
		{"a role does not end before it starts", EndBeforeStart, func(h *history) act {
			entry := h.do(role("cora", "nobody", "apprentice"))
			return act{typ: RoleEnded, actor: "cora", subject: "nobody", payload: EndPayload{Ends: entry, Date: h.date(-2)}}
		}},
		{"an ending names its own kind", WrongEntry, func(h *history) act {
			return act{typ: RoleEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(0)}}
		}},
		{"an ending names the same person", SomebodyElses, func(h *history) act {
			return act{typ: AppointmentEnded, actor: "cora", subject: "sue", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(0)}, sign: []string{"cora"}}
		}},
		{"an ending names something", NoSuchEntry, func(h *history) act {
			return act{typ: AgreementEnded, actor: "cora", subject: "pat", payload: EndPayload{Ends: h.id("nothing"), Date: h.date(0)}}
		}},
		{"a coordinator stays", LastCoordinator, func(h *history) act {
			for _, r := range []string{"cora"} {
				roles, _ := h.state.Roles(h.id(r))
				h.do(act{typ: RoleEnded, actor: "founder", subject: r, payload: EndPayload{Ends: roles[0].Entry, Date: h.date(-1)}})
			}
			roles, _ := h.state.Roles(h.id("founder"))
			return act{typ: RoleEnded, actor: "founder", subject: "founder", payload: EndPayload{Ends: roles[0].Entry, Date: h.date(0)}}
		}},

		{"an appointment is signed", Unsigned, func(h *history) act {
			return act{typ: Appointed, actor: "cora", subject: "sam", payload: AppointmentPayload{Task: "hose", From: h.date(0)}}
		}},
		{"an appointment is of a supervisor", NotSupervisor, func(h *history) act {
			return act{typ: Appointed, actor: "cora", subject: "pat", payload: AppointmentPayload{Task: "hose", From: h.date(0)}, sign: []string{"cora"}}
		}},
		{"nobody appoints themselves", Oneself, func(h *history) act {
			h.do(role("founder", "cora", "supervisor"))
			return act{typ: Appointed, actor: "cora", subject: "cora", payload: AppointmentPayload{Task: "hose", From: h.date(0)}, sign: []string{"cora"}}
		}},
		{"leave is not taken by oneself", Oneself, func(h *history) act {
			return act{typ: LeaveTaken, actor: "cora", subject: "cora", payload: LeavePayload{From: h.date(0), To: h.date(3)}}
		}},

		{"a new key signs", NewKeyUnsigned, func(h *history) act {
			a := h.keyAct("pat", "pat", "cora")
			a.sign = []string{"cora"}
			return a
		}},
		{"a new key is signed by a coordinator", NeedsCoordinator, func(h *history) act { return h.keyAct("pat", "pat", "") }},
		{"a new key is signed by no mere supervisor", NeedsCoordinator, func(h *history) act { return h.keyAct("pat", "pat", "sam") }},
		{"a coordinator's old key vouches for the new", "", func(h *history) act { return h.keyAct("cora", "cora 2", "cora") }},
		{"a key's id is new", KeyKnown, func(h *history) act {
			a := h.keyAct("pat", "pat", "cora")
			h.do(a)
			return a
		}},
		{"a key is ended by its owner or a coordinator", NotAllowed, func(h *history) act {
			return act{typ: KeyEnded, actor: "sue", subject: "sam", payload: KeyEndedPayload{Key: h.id("key sam"), Why: "lost", From: h.now}}
		}},
		{"a key ended is one's own", NotTheirKey, func(h *history) act {
			return act{typ: KeyEnded, actor: "sue", subject: "sue", payload: KeyEndedPayload{Key: h.id("key sam"), Why: "lost", From: h.now}}
		}},
		{"a key ended is known", KeyUnknown, func(h *history) act {
			return act{typ: KeyEnded, actor: "sue", subject: "sue", payload: KeyEndedPayload{Key: "none", Why: "lost", From: h.now}}
		}},
		{"a key is ended once", AlreadyEnded, func(h *history) act {
			a := act{typ: KeyEnded, actor: "sam", subject: "sam", payload: KeyEndedPayload{Key: h.id("key sam"), Why: "lost", From: h.now}}
			h.do(a)
			return a
		}},
		{"a key that has ended signs no more", KeyNotInForce, func(h *history) act {
			h.do(act{typ: KeyEnded, actor: "sam", subject: "sam", payload: KeyEndedPayload{Key: h.id("key sam"), Why: "lost", From: h.now}})
			return h.signOff("sam", "pat", nil)
		}},
		{"a key that ends tomorrow signs today", "", func(h *history) act {
			h.do(act{typ: KeyEnded, actor: "sam", subject: "sam", payload: KeyEndedPayload{Key: h.id("key sam"), Why: "changed", From: h.now + day}})
			return h.signOff("sam", "pat", nil)
		}},

		{"a reading is one's own", NotAllowed, func(h *history) act {
			return act{typ: LessonRead, actor: "sam", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}}
		}},
		{"a reading is an apprentice's", NotApprentice, func(h *history) act {
			return act{typ: LessonRead, actor: "sam", subject: "sam", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}}
		}},
		{"a test is one's own", NotAllowed, func(h *history) act {
			return act{typ: TestIssued, actor: "sam", subject: "pat", payload: TestIssuedPayload{Task: "bleed", Blueprint: "b", Seed: "7", Number: 1}, content: []string{"form"}}
		}},
		{"a test handed in was issued", NoSuchTest, func(h *history) act { return handIn(h, "none", nil) }},
		{"a test handed in is one's own", SomebodyElses, func(h *history) act {
			a := handIn(h, test(h), nil)
			a.actor, a.subject = "pia", "pia"
			return a
		}},
		{"a question is voided by a coordinator", NotAllowed, func(h *history) act {
			a := void(h, 0, nil)
			a.actor, a.sign = "sam", []string{"sam"}
			return a
		}},
		{"voiding is signed", Unsigned, func(h *history) act {
			a := void(h, 0, nil)
			a.sign = nil
			return a
		}},
		{"a question is voided with the tests that had it", "", func(h *history) act {
			id := test(h)
			h.do(handIn(h, id, nil))
			return void(h, 1, func(p *QuestionVoidedPayload) { p.Remarked = remarked(h, id) })
		}},
		{"nobody hands in between marking anew and voiding", MarksOutdated, func(h *history) act {
			h.do(handIn(h, test(h), nil))
			return void(h, 0, nil)
		}},
		{"a test still open is not marked anew", NotHandedIn, func(h *history) act {
			return void(h, 0, func(p *QuestionVoidedPayload) { p.Remarked = remarked(h, test(h)) })
		}},
		{"a test marked anew is issued", NoSuchTest, func(h *history) act {
			return void(h, 0, func(p *QuestionVoidedPayload) { p.Remarked = remarked(h, h.id("none")) })
		}},
		{"a test marked anew is its apprentice's", SomebodyElses, func(h *history) act {
			id := test(h)
			h.do(handIn(h, id, nil))
			return void(h, 1, func(p *QuestionVoidedPayload) {
				p.Remarked = remarked(h, id)
				p.Remarked[0].Apprentice = h.id("pia")
			})
		}},
		{"a question is voided once", AlreadyVoided, func(h *history) act {
			h.do(void(h, 0, nil))
			return void(h, 0, nil)
		}},
		{"another edition's is another void", "", func(h *history) act {
			h.do(void(h, 0, nil))
			return void(h, 0, func(p *QuestionVoidedPayload) { p.Edition = Hash(nil) })
		}},
		{"what was not voided is not restored", NotVoided, func(h *history) act {
			return void(h, 0, func(p *QuestionVoidedPayload) { p.Restores = true })
		}},
		{"what was voided may be restored, and voided again", "", func(h *history) act {
			h.do(void(h, 0, nil))
			h.do(void(h, 0, func(p *QuestionVoidedPayload) { p.Restores = true }))
			return void(h, 0, nil)
		}},
		{"a test is marked with all voids there are", MarksOutdated, func(h *history) act {
			h.do(void(h, 0, nil))
			return handIn(h, test(h), nil)
		}},
		{"a test handed in behind a void counts it", "", func(h *history) act {
			h.do(void(h, 0, nil))
			return handIn(h, test(h), func(p *TestHandedInPayload) { p.Voids = 1 })
		}},
		{"a test is handed in once", TestHandedInOnce, func(h *history) act {
			a := handIn(h, test(h), nil)
			h.do(a)
			return a
		}},
		{"a test handed in is of its task", OtherTask, func(h *history) act {
			return handIn(h, test(h), func(p *TestHandedInPayload) { p.Task = "hose" })
		}},
		{"a test is watched by a supervisor", NotSupervisor, func(h *history) act {
			return handIn(h, test(h), func(p *TestHandedInPayload) { p.WatchedBy = h.id("pia") })
		}},
		{"a test is not watched by oneself", Oneself, func(h *history) act {
			return handIn(h, test(h), func(p *TestHandedInPayload) { p.WatchedBy = h.id("pat") })
		}},
		{"a watched test", "", func(h *history) act {
			return handIn(h, test(h), func(p *TestHandedInPayload) { p.WatchedBy = h.id("sam") })
		}},

		{"a sign-off", "", func(h *history) act { return h.signOff("sam", "pat", nil) }},
		{"a sign-off is signed", Unsigned, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = nil })
		}},
		{"a sign-off is signed by its actor", Unsigned, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = []string{"sue"} })
		}},
		{"nobody signs for themselves", Oneself, func(h *history) act { return h.signOff("both", "both", nil) }},
		{"nobody watches themselves", Oneself, func(h *history) act {
			return h.signOff("sam", "both", func(_ *act, p *SignOffPayload) { p.Supervisors = append(p.Supervisors, h.id("both")) })
		}},
		{"nobody accepts their own hold point", Oneself, func(h *history) act {
			return h.signOff("sam", "both", func(_ *act, p *SignOffPayload) {
				p.Holds = []HoldDone{{Step: "bleed/s1", Accepted: true, By: h.id("both"), At: h.now - 10}}
			})
		}},
		{"who watched is known", NoSuchPerson, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Supervisors = append(p.Supervisors, h.id("ghost")) })
		}},
		{"the signer watched", NotWatched, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Supervisors = []string{h.id("sue")} })
		}},
		{"a job is signed once", JobSignedOnce, func(h *history) act { signed(h); return h.signOff("sue", "pat", nil) }},
		{"only tasks of one's appointment", NotAppointed, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Task = "hose" })
		}},
		{"only sites of one's appointment", NotAppointed, func(h *history) act {
			return h.signOff("al", "pat", func(a *act, _ *SignOffPayload) { a.site = "south" })
		}},
		{"an appointment for one site does not hold where no site is named", NotAppointed, func(h *history) act { return h.signOff("al", "pat", nil) }},
		{"the site of one's appointment", "", func(h *history) act {
			return h.signOff("al", "pat", func(a *act, _ *SignOffPayload) { a.site = "north" })
		}},
		{"only dates of one's appointment", NotAppointed, func(h *history) act {
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(-1)}, sign: []string{"cora"}})
			return h.signOff("sam", "pat", nil)
		}},
		{"the last day of one's appointment", "", func(h *history) act {
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(0)}, sign: []string{"cora"}})
			return h.signOff("sam", "pat", nil)
		}},
		{"a job before one's appointment", NotAppointed, func(h *history) act {
			return late(h, h.signOff("sam", "both", func(_ *act, p *SignOffPayload) {}), 0).before(h, 3)
		}},
		{"a supervisor who left signs no more", NotAllowed, func(h *history) act {
			roles, _ := h.state.Roles(h.id("sam"))
			h.do(act{typ: RoleEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: roles[0].Entry, Date: h.date(-1)}})
			return h.signOff("sam", "pat", nil)
		}},
		{"a role for another site does not sign here", NotAllowed, func(h *history) act {
			h.do(act{typ: RoleGranted, actor: "cora", subject: "nobody", payload: RolePayload{Role: "supervisor", From: h.date(0), Site: h.id("north")}})
			h.do(act{typ: Appointed, actor: "cora", subject: "nobody", payload: AppointmentPayload{Task: "bleed", From: h.date(0)}, sign: []string{"cora"}})
			return h.signOff("nobody", "pat", func(a *act, _ *SignOffPayload) { a.site = "south" })
		}},
		{"a sign-off is of an apprentice", NotApprentice, func(h *history) act { return h.signOff("sam", "sue", nil) }},
		{"an apprentice signs for nobody", NotAllowed, func(h *history) act {
			h.addKey("pat", "pat", "cora")
			return h.signOff("pat", "pia", nil)
		}},
		{"a key unknown to the ledger signs nothing", KeyUnknown, func(h *history) act {
			h.keyAct("sam", "forged", "")
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = []string{"forged"} })
		}},
		{"two signatures are two people's", SignedTwice, func(h *history) act {
			h.addKey("sam", "sam 2", "cora")
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = []string{"sam", "sam 2"} })
		}},
		{"three signatures are too many", TooManySigned, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = []string{"sam", "sue", "sid"} })
		}},
		{"a second signer has authority", SecondNotAllowed, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, _ *SignOffPayload) { a.sign = []string{"sam", "nobody"} })
		}},
		{"the apprentice is no second signer", Oneself, func(h *history) act {
			return h.signOff("sam", "both", func(a *act, _ *SignOffPayload) { a.sign = []string{"sam", "both"} })
		}},

		{"nothing happens after it is recorded", Future, func(h *history) act { return late(h, h.signOff("sam", "pat", nil), -1) }},
		{"no job finishes in the future", Future, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Finished = h.now + 1 })
		}},
		{"no step is done in the future", Future, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Steps[0].At = h.now + 1 })
		}},
		{"no unwatched job in the future", Future, func(h *history) act {
			return act{typ: UnwatchedJob, actor: "pat", subject: "pat", payload: UnwatchedJobPayload{Task: "bleed", Date: h.date(1)}}
		}},
		{"a job within the window", "", func(h *history) act {
			h.now += 30 * day
			return late(h, h.signOff("sam", "pat", nil), 14).before(h, 14)
		}},
		{"a job past the window needs a reason", LateNeedsReason, func(h *history) act {
			h.now += 30 * day
			return late(h, h.signOff("sam", "pat", nil), 15).before(h, 15)
		}},
		{"a job past the window needs a second signature", LateNeedsSecond, func(h *history) act {
			h.now += 30 * day
			a := late(h, h.signOff("sam", "pat", nil), 15).before(h, 15)
			a.personal = reason
			return a
		}},
		{"a job past the window with reason and second signature", "", func(h *history) act {
			h.now += 30 * day
			a := late(h, h.signOff("sam", "pat", nil), 15).before(h, 15)
			a.personal, a.sign = reason, []string{"sam", "sue"}
			return a
		}},
		{"an old job is not made new by signing it today", LateNeedsReason, func(h *history) act {
			h.now += 30 * day
			a := h.signOff("sam", "pat", nil).before(h, 15)
			a.at = h.now
			return a
		}},
		{"a reading past the window", TooOld, func(h *history) act {
			h.now += 30 * day
			return late(h, act{typ: LessonRead, actor: "pat", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}}, 15)
		}},
		{"an unwatched job past the window", TooOld, func(h *history) act {
			h.now += 30 * day
			return act{typ: UnwatchedJob, actor: "pat", subject: "pat", payload: UnwatchedJobPayload{Task: "bleed", Date: h.date(-15)}}
		}},

		{"a spot check is not one's own", Oneself, func(h *history) act {
			return act{typ: SpotCheck, actor: "both", subject: "both", payload: SpotCheckPayload{Task: "bleed", Finding: "sound"}, sign: []string{"both"}}
		}},
		{"a spot check is signed", Unsigned, func(h *history) act {
			return act{typ: SpotCheck, actor: "sam", subject: "pat", payload: SpotCheckPayload{Task: "bleed", Finding: "sound"}}
		}},
		{"a return is found by a supervisor", NotAllowed, func(h *history) act {
			return act{typ: Return, actor: "pia", subject: "pat", payload: ReturnPayload{Task: "bleed", Finding: "part"}}
		}},
		{"a return is not one's own", Oneself, func(h *history) act {
			return act{typ: Return, actor: "both", subject: "both", payload: ReturnPayload{Task: "bleed", Finding: "part"}, sign: []string{"both"}}
		}},
		{"a spot check of a job", "", func(h *history) act {
			job := h.do(h.signOff("sam", "pat", nil))
			return act{typ: SpotCheck, actor: "sue", subject: "pat", payload: SpotCheckPayload{Task: "bleed", Finding: "sound", Of: job}, sign: []string{"sue"}}
		}},
		{"a spot check is of the same person's job", SomebodyElses, func(h *history) act {
			job := h.do(h.signOff("sam", "pia", nil))
			return act{typ: SpotCheck, actor: "sue", subject: "pat", payload: SpotCheckPayload{Task: "bleed", Finding: "sound", Of: job}, sign: []string{"sue"}}
		}},
		{"a photograph comes along", PhotoMissing, func(h *history) act {
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) {
				p.Photos = []PhotoDone{{Field: "photo/1", Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10}}
			})
		}},
		{"from paper", "", func(h *history) act { return fromPaper(h, "sam", "sue") }},
		{"from paper with one signature", SecondNeeded, func(h *history) act { return fromPaper(h, "sam") }},
		{"from paper without its photograph", PaperNeedsPhoto, func(h *history) act {
			return h.signOff("sam", "pat", func(a *act, p *SignOffPayload) { p.Paper, a.sign = true, []string{"sam", "sue"} })
		}},
		{"a case", "", func(h *history) act { return caseOf(h, "pat") }},
		{"a case is not about oneself", Oneself, func(h *history) act {
			a := caseOf(h, "pat")
			a.actor, a.subject, a.payload = "both", "both", CaseOpenedPayload{Task: "bleed", Jobs: []string{}, People: []string{h.id("both")}}
			return a
		}},
		{"a case names known people", NoSuchPerson, func(h *history) act {
			a := caseOf(h, "pat")
			a.payload = CaseOpenedPayload{Task: "bleed", Jobs: []string{}, People: []string{h.id("ghost")}}
			return a
		}},
		{"a case names the same person's jobs", SomebodyElses, func(h *history) act {
			a := caseOf(h, "pat")
			a.subject = "pia"
			return a
		}},
		{"a finding closes a case", "", func(h *history) act { return finding(h, h.do(caseOf(h, "pat"))) }},
		{"a finding is about whose work it was", SomebodyElses, func(h *history) act {
			a := finding(h, h.do(caseOf(h, "pat")))
			a.subject = "pia"
			return a
		}},
		{"a finding is about the case's task", OtherTask, func(h *history) act {
			a := finding(h, h.do(caseOf(h, "pat")))
			p := a.payload.(ReturnPayload)
			p.Task = "hose"
			a.payload = p
			return a
		}},
		{"a case has one finding", CaseClosed, func(h *history) act {
			c := h.do(caseOf(h, "pat"))
			h.do(finding(h, c))
			return finding(h, c)
		}},
		{"a finding withdrawn opens its case again", "", func(h *history) act {
			c := h.do(caseOf(h, "pat"))
			first := h.do(finding(h, c))
			h.do(act{typ: Corrected, actor: "cora", subject: "pat", corrects: first, payload: CorrectionPayload{Withdraw: true}, personal: []string{"reason"}, sign: []string{"cora"}})
			return finding(h, c)
		}},

		{"a clearance", "", clearance(nil)},
		{"a clearance is signed", Unsigned, clearance(func(a *act, _ *ClearancePayload) { a.sign = nil })},
		{"nobody clears themselves", Oneself, clearance(func(a *act, _ *ClearancePayload) { a.actor, a.subject, a.sign = "both", "both", []string{"both"} })},
		{"a coordinator alone does not clear", NotAllowed, clearance(func(a *act, _ *ClearancePayload) { a.actor, a.sign = "cora", []string{"cora"} })},
		{"a clearance does not end before it begins", EndsInPast, clearance(func(_ *act, p *ClearancePayload) { p.Until = "2026-01-01" })},
		{"a waiver does not end before it begins", EndsInPast, clearance(func(a *act, p *ClearancePayload) {
			p.Waiver, a.personal, a.sign = &WaiverMade{Gates: []string{"jobs"}, Until: "2026-01-01"}, reason, []string{"sam", "sue"}
		})},
		{"a waiver needs a second signature", SecondNeeded, clearance(func(a *act, p *ClearancePayload) {
			p.Waiver, a.personal = &WaiverMade{Gates: []string{"jobs"}, Until: "2026-03-01"}, reason
		})},
		{"a waiver by two", "", clearance(func(a *act, p *ClearancePayload) {
			p.Waiver, a.personal, a.sign = &WaiverMade{Gates: []string{"jobs"}, Until: "2026-03-01"}, reason, []string{"sam", "cora"}
		})},

		{"a stand-down needs no signature", "", func(h *history) act {
			return act{typ: StandDownOrdered, actor: "sam", subject: "pat", payload: StandDownPayload{}, personal: reason}
		}},
		{"a stand-down of any task by any supervisor", "", func(h *history) act {
			return act{typ: StandDownOrdered, actor: "al", subject: "pat", payload: StandDownPayload{Task: "hose"}, personal: reason}
		}},
		{"an apprentice stands nobody down", NotAllowed, func(h *history) act {
			return act{typ: StandDownOrdered, actor: "pia", subject: "pat", payload: StandDownPayload{}, personal: reason}
		}},
		{"nobody stands themselves down", Oneself, func(h *history) act {
			return act{typ: StandDownOrdered, actor: "both", subject: "both", payload: StandDownPayload{}, personal: reason}
		}},
		{"a stand-down is signed by whoever ordered it", NotTheirs, func(h *history) act {
			return act{typ: StandDownSigned, actor: "sue", subject: "pat", payload: StandDownSignedPayload{StandDown: standDown(h, "sam", "")}, sign: []string{"sue"}}
		}},
		{"a stand-down is signed once", AlreadySigned, func(h *history) act {
			a := act{typ: StandDownSigned, actor: "sam", subject: "pat", payload: StandDownSignedPayload{StandDown: standDown(h, "sam", "")}, sign: []string{"sam"}}
			h.do(a)
			return a
		}},
		{"a stand-down signed is there", NoSuchEntry, func(h *history) act {
			return act{typ: StandDownSigned, actor: "sam", subject: "pat", payload: StandDownSignedPayload{StandDown: "none"}, sign: []string{"sam"}}
		}},
		{"a restore lifts something", NothingToRestore, func(h *history) act { return restore("sue", "bleed") }},
		{"a restore of another task lifts nothing", NothingToRestore, func(h *history) act { standDown(h, "sam", "hose"); return restore("sue", "bleed") }},
		{"a restore is not by who ordered the stand-down", OrderedIt, func(h *history) act { standDown(h, "sam", "bleed"); return restore("sam", "bleed") }},
		{"a restore is not signed by who ordered the stand-down", OrderedIt, func(h *history) act {
			standDown(h, "sam", "bleed")
			a := restore("sue", "bleed")
			a.sign = append(a.sign, "sam")
			return a
		}},
		{"a restore by somebody else", "", func(h *history) act { standDown(h, "sam", "bleed"); return restore("sue", "bleed") }},
		{"a restore of one task from a stand-down of all", "", func(h *history) act { standDown(h, "sam", ""); return restore("sue", "bleed") }},
		{"a restore of one task is not by who ordered the stand-down of all", OrderedIt, func(h *history) act { standDown(h, "sam", ""); return restore("sam", "bleed") }},
		{"a restore lifts once", NothingToRestore, func(h *history) act {
			standDown(h, "sam", "bleed")
			h.do(restore("sue", "bleed"))
			return restore("sid", "bleed")
		}},
		{"a stand-down of all still stands for other tasks", OrderedIt, func(h *history) act {
			standDown(h, "sam", "")
			h.do(restore("sue", "bleed"))
			return restore("sam", "")
		}},
		{"a restore is by somebody appointed", NotAppointed, func(h *history) act { standDown(h, "sam", "hose"); return restore("sue", "hose") }},
		{"a restore by a coordinator", "", func(h *history) act { standDown(h, "sam", "hose"); return restore("cora", "hose") }},
		{"a restore is signed", Unsigned, func(h *history) act {
			standDown(h, "sam", "bleed")
			a := restore("sue", "bleed")
			a.sign = nil
			return a
		}},
		{"nobody restores themselves", Oneself, func(h *history) act {
			h.do(act{typ: StandDownOrdered, actor: "sam", subject: "both", payload: StandDownPayload{Task: "bleed"}, personal: reason})
			a := restore("both", "bleed")
			a.subject = "both"
			return a
		}},

		{"a recognition is by two", SecondNeeded, func(h *history) act {
			return act{typ: Recognised, actor: "sam", subject: "pat", payload: RecognitionPayload{Task: "bleed", StandsFor: []string{"jobs"}}, personal: reason, sign: []string{"sam"}}
		}},
		{"a recognition by two", "", func(h *history) act {
			return act{typ: Recognised, actor: "sam", subject: "pat", payload: RecognitionPayload{Task: "bleed", StandsFor: []string{"jobs"}}, personal: reason, sign: []string{"sam", "cora"}}
		}},

		{"a correction names an entry", NoSuchEntry, func(h *history) act { return correct(h, "sam", h.id("nothing"), CorrectionPayload{Withdraw: true}) }},
		{"a correction names what can be corrected", WrongEntry, func(h *history) act {
			return correct(h, "cora", standDown(h, "sam", "bleed"), CorrectionPayload{Withdraw: true})
		}},
		{"a correction is about the same person", SomebodyElses, func(h *history) act {
			a := correct(h, "sam", signed(h), CorrectionPayload{Withdraw: true})
			a.subject = "pia"
			return a
		}},
		{"a correction is not by the apprentice", NotAllowed, func(h *history) act {
			h.addKey("pat", "pat", "cora")
			return correct(h, "pat", signed(h), CorrectionPayload{Withdraw: true})
		}},
		{"a correction keeps the task", OtherTask, func(h *history) act {
			h.do(act{typ: Appointed, actor: "cora", subject: "sam", payload: AppointmentPayload{Task: "hose", From: h.date(0)}, sign: []string{"cora"}})
			entry := signed(h)
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload)
			p.Task = "hose"
			return correct(h, "sam", entry, CorrectionPayload{SignOff: &p})
		}},
		{"a sign-off replaced", "", func(h *history) act {
			entry := signed(h)
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload)
			return correct(h, "sam", entry, CorrectionPayload{SignOff: &p})
		}},
		{"a correction corrected", "", func(h *history) act {
			entry := h.do(correct(h, "sam", signed(h), CorrectionPayload{Withdraw: true}))
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload)
			return correct(h, "sue", entry, CorrectionPayload{SignOff: &p})
		}},
		{"a correction names the photographs of the record it corrects", "", func(h *history) act {
			entry := h.do(h.signOff("sam", "pat", func(a *act, p *SignOffPayload) {
				a.personal, p.Photos = []string{"photo/1"}, []PhotoDone{{Field: "photo/1", Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10}}
			}))
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload).withPhoto(PhotoDone{Field: "photo/1", Entry: entry, Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10})
			return correct(h, "sam", entry, CorrectionPayload{SignOff: p})
		}},
		{"a photograph named is the same person's", SomebodyElses, func(h *history) act {
			entry := signed(h)
			other := h.do(h.signOff("sam", "pia", func(_ *act, p *SignOffPayload) { p.Job = h.id("another job") }))
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload).withPhoto(PhotoDone{Field: "photo/1", Entry: other, Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10})
			return correct(h, "sam", entry, CorrectionPayload{SignOff: p})
		}},
		{"a new record brings its photographs along", PhotoMissing, func(h *history) act {
			entry := signed(h)
			return h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) {
				p.Job, p.Photos = h.id("another job"), []PhotoDone{{Field: "photo/1", Entry: entry, Width: 4, Height: 3, By: h.id("sam"), At: h.now - 10}}
			})
		}},
		{"a reading withdrawn", "", func(h *history) act {
			entry := h.do(act{typ: LessonRead, actor: "pat", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}})
			return correct(h, "cora", entry, CorrectionPayload{Withdraw: true})
		}},
		{"only a sign-off is replaced by a sign-off", WrongEntry, func(h *history) act {
			entry := h.do(act{typ: LessonRead, actor: "pat", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}})
			p := h.signOff("sam", "pat", nil).payload.(SignOffPayload)
			return correct(h, "cora", entry, CorrectionPayload{SignOff: &p})
		}},

		{"a dispute by the apprentice", "", func(h *history) act { return dispute("pat", signed(h)) }},
		{"a dispute is not another apprentice's", NotAllowed, func(h *history) act { return dispute("pia", signed(h)) }},
		{"a dispute names what can be disputed", WrongEntry, func(h *history) act {
			entry := h.do(act{typ: LessonRead, actor: "pat", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}})
			return dispute("pat", entry)
		}},
		{"an entry is disputed once at a time", AlreadyDisputed, func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			return dispute("sue", entry)
		}},
		{"a settlement settles a dispute", NotDisputed, func(h *history) act { return settle("sue", signed(h)) }},
		{"a settlement is not by who signed", IsParty, func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			return settle("sam", entry)
		}},
		{"a settlement is not by who disputed", IsParty, func(h *history) act {
			entry := signed(h)
			h.do(dispute("sue", entry))
			return settle("sue", entry)
		}},
		{"a settlement by somebody else", "", func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			return settle("sue", entry)
		}},
		{"a dispute is settled once", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			h.do(settle("sue", entry))
			return settle("sid", entry)
		}},

		{"a second correction of one entry is a dispute", AlreadyDisputed, func(h *history) act {
			entry := twice(h)
			return dispute("pat", entry)
		}},
		{"of two corrections it is said which stands", Contradicting, func(h *history) act { return settle("sid", twice(h)) }},
		{"two corrections are not settled by who made one", IsParty, func(h *history) act {
			a := settle("sue", twice(h))
			a.payload = SettlementPayload{Disputes: a.payload.(SettlementPayload).Disputes, Stands: h.id("nothing")}
			return a
		}},
		{"two corrections are settled by somebody else", "", func(h *history) act {
			entry := twice(h)
			live, _ := h.state.Corrections(entry)
			a := settle("sid", entry)
			a.payload = SettlementPayload{Disputes: entry, Stands: live[1].Entry}
			return a
		}},
		{"the entry as it was may stand against both corrections", "", func(h *history) act {
			entry := twice(h)
			a := settle("sid", entry)
			a.payload = SettlementPayload{Disputes: entry, Stands: entry}
			return a
		}},
		{"a settlement of one wording says nothing of which stands", WrongEntry, func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			a := settle("sue", entry)
			a.payload = SettlementPayload{Disputes: entry, Stands: entry}
			return a
		}},
		{"a correction withdrawn leaves room for another", "", func(h *history) act {
			entry := signed(h)
			first := h.do(correct(h, "sam", entry, CorrectionPayload{Withdraw: true}))
			h.do(correct(h, "sam", first, CorrectionPayload{Withdraw: true}))
			h.do(correct(h, "sue", entry, CorrectionPayload{Withdraw: true}))
			return dispute("pat", entry) // nothing is in dispute yet
		}},

		{"a countersignature by the apprentice", "", func(h *history) act { return countersign(h, signed(h)) }},
		{"a countersignature is signed", Unsigned, func(h *history) act {
			a := countersign(h, signed(h))
			a.sign = nil
			return a
		}},
		{"nobody countersigns for another", NotAllowed, func(h *history) act {
			a := countersign(h, signed(h))
			a.actor, a.sign = "sue", []string{"sue"}
			return a
		}},
		{"an entry is countersigned once", CountersignOnce, func(h *history) act {
			entry := signed(h)
			h.do(countersign(h, entry))
			return countersign(h, entry)
		}},
		{"what is disputed is not countersigned", AlreadyDisputed, func(h *history) act {
			entry := signed(h)
			h.do(dispute("pat", entry))
			return countersign(h, entry)
		}},
		{"a countersignature is of a sign-off", WrongEntry, func(h *history) act { return countersign(h, standDown(h, "sam", "bleed")) }},
		{"a reply by the apprentice", "", func(h *history) act { return reply("pat", standDown(h, "sam", "bleed")) }},
		{"a reply is not another apprentice's", SomebodyElses, func(h *history) act { return reply("pia", standDown(h, "sam", "bleed")) }},
		{"a reply is to what somebody else made", WrongEntry, func(h *history) act {
			return reply("pat", h.do(act{typ: LessonRead, actor: "pat", subject: "pat", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}}))
		}},

		{"a stand-down is reviewed by somebody else", "", func(h *history) act { return review("sue", standDown(h, "sam", "bleed")) }},
		{"a stand-down is not reviewed by who ordered it", OrderedIt, func(h *history) act { return review("sam", standDown(h, "sam", "bleed")) }},
		{"a review is by somebody appointed", NotAppointed, func(h *history) act { return review("sue", standDown(h, "sam", "hose")) }},
		{"a review is of a stand-down that holds", NothingToRestore, func(h *history) act {
			entry := standDown(h, "sam", "bleed")
			h.do(restore("sue", "bleed"))
			return review("sid", entry)
		}},

		{"what waits is given to a supervisor", "", func(h *history) act {
			return act{typ: Assigned, actor: "cora", subject: "pat", payload: AssignedPayload{Matter: signed(h), To: h.id("sue")}}
		}},
		{"what waits is given by a coordinator", NotAllowed, func(h *history) act {
			return act{typ: Assigned, actor: "sam", subject: "pat", payload: AssignedPayload{Matter: signed(h), To: h.id("sue")}}
		}},
		{"what waits is not given to an apprentice", NotSupervisor, func(h *history) act {
			return act{typ: Assigned, actor: "cora", subject: "pat", payload: AssignedPayload{Matter: signed(h), To: h.id("pia")}}
		}},
		{"what waits is not given to whom it is about", Oneself, func(h *history) act {
			return act{typ: Assigned, actor: "cora", subject: "both", payload: AssignedPayload{Matter: signed(h), To: h.id("both")}}
		}},

		{"a key lost does not end before it is said", EndReachesBack, func(h *history) act { return endKey(h, "lost", -day) }},
		{"a key changed does not end before it is said", EndReachesBack, func(h *history) act { return endKey(h, "changed", -day) }},
		{"what a changed key signed stands", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.do(endKey(h, "changed", 0))
			return settle("sid", entry)
		}},
		{"what a lost key signed stands", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.do(endKey(h, "lost", 0))
			return settle("sid", entry)
		}},
		{"what a compromised key signed since is in question", "", func(h *history) act {
			entry := signed(h)
			h.do(endKey(h, "compromised", -day))
			return settle("sid", entry)
		}},
		{"what a compromised key signed before stands", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.now += 3 * day
			h.do(endKey(h, "compromised", -day))
			return settle("sid", entry)
		}},
		{"what a compromised key appointed is in question, and stands", "", func(h *history) act {
			stolen(h)
			h.do(settleOf("cora", "sam", h.id("sam's appointment"), false))
			return h.signOff("sam", "pat", nil)
		}},
		{"what gives authority is settled by a coordinator", NotAllowed, func(h *history) act {
			stolen(h)
			return settleOf("sue", "sam", h.id("sam's appointment"), false)
		}},
		{"who held the key does not settle whom it appointed", IsParty, func(h *history) act {
			stolen(h)
			h.addKey("founder", "founder", "cora")
			return settleOf("founder", "sam", h.id("sam's appointment"), false)
		}},
		{"an appointment that falls appoints nobody", NotAppointed, func(h *history) act {
			stolen(h)
			h.do(settleOf("cora", "sam", h.id("sam's appointment"), true))
			return h.signOff("sam", "pat", nil)
		}},
		{"what was signed under an appointment that fell is in question", "", func(h *history) act {
			entry := signed(h)
			stolen(h)
			h.do(settleOf("cora", "sam", h.id("sam's appointment"), true))
			return settle("sue", entry)
		}},
		{"an appointment ended needs no settlement", NotDisputed, func(h *history) act {
			stolen(h)
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(0)}, sign: []string{"cora"}})
			return settleOf("cora", "sam", h.id("sam's appointment"), false)
		}},
		{"a key that a compromised key vouched for is in question, and stands", "", func(h *history) act {
			stolen(h)
			h.do(settleOf("cora", "sam", keyEntry(h, "sam"), false))
			return h.signOff("sam", "pat", nil)
		}},
		{"a key that falls signs no more", KeyNotInForce, func(h *history) act {
			stolen(h)
			h.do(settleOf("cora", "sam", keyEntry(h, "sam"), true))
			return h.signOff("sam", "pat", nil)
		}},
		{"what a key signed that fell is in question", "", func(h *history) act {
			entry := signed(h)
			stolen(h)
			h.do(settleOf("cora", "sam", keyEntry(h, "sam"), true))
			return settle("sue", entry)
		}},
		{"a key ended needs no settlement", NotDisputed, func(h *history) act {
			stolen(h)
			h.do(endKey(h, "lost", 0))
			return settleOf("cora", "sam", keyEntry(h, "sam"), false)
		}},
		{"a key's own compromise does not put its coming into question", NotDisputed, func(h *history) act {
			h.do(endKey(h, "compromised", -30*day))
			return settleOf("cora", "sam", keyEntry(h, "sam"), false)
		}},
		{"a role that falls is held no more", NotAllowed, func(h *history) act {
			role := h.do(act{typ: RoleGranted, actor: "founder", subject: "pia", payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{"founder"}})
			stolen(h)
			h.do(settleOf("cora", "pia", role, true))
			return act{typ: SiteAdded, actor: "pia", payload: SitePayload{Site: h.id("east"), Name: "east", Zone: zone}}
		}},
		{"whom a coordinator appointed whose role fell is in question", "", func(h *history) act {
			role := h.do(act{typ: RoleGranted, actor: "founder", subject: "sue", payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{"founder"}})
			entry := h.do(act{typ: Appointed, actor: "sue", subject: "sam", payload: AppointmentPayload{Task: "hose", From: h.date(0)}, sign: []string{"sue"}})
			stolen(h)
			h.do(settleOf("cora", "sue", role, true))
			return settleOf("cora", "sam", entry, false)
		}},
		{"who held the key does not settle what it signed", IsParty, func(h *history) act {
			entry := signed(h)
			h.addKey("sam", "sam 2", "cora")
			h.do(endKey(h, "compromised", -day))
			a := settle("sam", entry)
			a.sign = []string{"sam 2"}
			return a
		}},
		{"what was signed after an appointment was withdrawn is in question", "", func(h *history) act {
			entry := signed(h)
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(-1)}, sign: []string{"cora"}})
			return settle("cora", entry)
		}},
		{"what was signed by the last day of an appointment stands", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(0)}, sign: []string{"cora"}})
			return settle("cora", entry)
		}},
		{"what another appointment covers stands", NotDisputed, func(h *history) act {
			entry := signed(h)
			h.do(act{typ: Appointed, actor: "cora", subject: "sam", payload: AppointmentPayload{Task: "bleed", From: h.date(-3)}, sign: []string{"cora"}})
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: h.date(-1)}, sign: []string{"cora"}})
			return settle("cora", entry)
		}},

		{"a programme is adopted by a coordinator", NotAllowed, func(h *history) act {
			return act{typ: ProgrammeAdopted, actor: "sam", payload: ProgrammePayload{}, content: []string{"programme"}, sign: []string{"sam"}}
		}},
		{"a note is pinned by a coordinator", "", func(h *history) act { return note(h, "cora", "") }},
		{"a note is no apprentice's", NotAllowed, func(h *history) act { return note(h, "pat", "") }},
		{"a supervisor pins a note with the author right only", NotAllowed, func(h *history) act { return note(h, "sam", "") }},
		{"a note is taken off by its entry", "", func(h *history) act { return note(h, "cora", h.do(note(h, "cora", ""))) }},
		{"what is no note is not taken off", WrongEntry, func(h *history) act {
			return note(h, "cora", h.do(void(h, 0, nil)))
		}},
		{"a note that is not there is not taken off", NoSuchEntry, func(h *history) act { return note(h, "cora", h.id("none")) }},
		{"an erasure needs a signature", Unsigned, func(h *history) act {
			return act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}}
		}},
		{"an erasure is a coordinator's", NotAllowed, func(h *history) act {
			return act{typ: Erased, actor: "sam", subject: "pat", payload: ErasurePayload{}, sign: []string{"sam"}}
		}},
		{"nobody erases themselves", Oneself, func(h *history) act {
			return act{typ: Erased, actor: "cora", subject: "cora", payload: ErasurePayload{}, sign: []string{"cora"}}
		}},
		{"an erasure may be as old as it is", "", func(h *history) act {
			return late(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}}, 400)
		}},
		{"a person is erased once", PersonErased, func(h *history) act {
			a := act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}}
			h.do(a)
			return a
		}},
		{"nothing is recorded of the erased", PersonErased, func(h *history) act {
			h.do(act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}})
			return h.signOff("sam", "pat", nil)
		}},
		{"the erased record nothing", PersonErased, func(h *history) act {
			h.do(act{typ: Erased, actor: "cora", subject: "both", payload: ErasurePayload{}, sign: []string{"cora"}})
			return act{typ: LessonRead, actor: "both", subject: "both", payload: ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}}
		}},
		{"an erasure ends the keys", KeyNotInForce, func(h *history) act {
			h.do(act{typ: Erased, actor: "cora", subject: "sam", payload: ErasurePayload{}, sign: []string{"cora"}})
			h.now += 1000
			return h.signOff("sue", "pat", func(a *act, p *SignOffPayload) { a.sign = []string{"sue", "sam"} })
		}},
		{"an erasure waits for a role's end", EraseRole, func(h *history) act {
			return eraseOf(h, "pat")
		}},
		{"an erasure waits for an agreement's end", EraseAgreement, func(h *history) act {
			h.do(act{typ: AgreementMade, actor: "cora", subject: "nobody", payload: AgreementPayload{From: h.date(0)}})
			return eraseOf(h, "nobody")
		}},
		{"an erasure waits for the records' date", EraseKept, func(h *history) act {
			h.now += 5*365*day - day
			return eraseOf(h, "nobody")
		}},
		{"an erasure waits for the latest date of any kind", EraseKept, func(h *history) act {
			h.state.Retention = func(_ string, kind readiness.RecordKind) int {
				return map[bool]int{true: 1}[kind == readiness.AccountRecord]
			}
			h.now += 300 * day
			return eraseOf(h, "nobody")
		}},
		{"the years run from the agreement's end", EraseKept, func(h *history) act {
			h.do(act{typ: AgreementMade, actor: "cora", subject: "nobody", payload: AgreementPayload{From: h.date(0), Until: h.date(400)}})
			h.now += 5*365*day + 300*day
			return eraseOf(h, "nobody")
		}},
		{"what somebody did keeps their records as what is about them", EraseKept, func(h *history) act {
			h.now += 5*365*day - 100*day
			leaves(h, "sam")
			h.now += 300 * day
			return eraseOf(h, "sam")
		}},
		{"an erasure waits for a dispute", EraseDispute, func(h *history) act {
			job := h.do(h.signOff("sam", "pat", nil))
			h.do(act{typ: Disputed, actor: "pat", subject: "pat", payload: DisputePayload{Disputes: job}, personal: []string{"reason"}})
			leaves(h, "pat")
			h.now += 6 * 365 * day
			return eraseOf(h, "pat")
		}},
		{"an erasure waits for a dispute of what somebody signed", EraseDispute, func(h *history) act {
			job := h.do(h.signOff("sam", "pat", nil))
			h.do(act{typ: Disputed, actor: "pat", subject: "pat", payload: DisputePayload{Disputes: job}, personal: []string{"reason"}})
			leaves(h, "sam")
			h.now += 6 * 365 * day
			return eraseOf(h, "sam")
		}},
		{"an erasure waits for a case that concerns somebody", EraseCase, func(h *history) act {
			h.do(act{typ: CaseOpened, actor: "cora", subject: "pat", payload: CaseOpenedPayload{Task: "bleed", Jobs: []string{}, People: []string{h.id("sam")}}, personal: []string{"what_happened"}})
			leaves(h, "sam")
			h.now += 6 * 365 * day
			return eraseOf(h, "sam")
		}},
		{"an erasure says until when the records had to be kept", EraseDate, func(h *history) act {
			h.now += 6 * 365 * day
			a := eraseOf(h, "nobody")
			a.payload = ErasurePayload{KeptUntil: h.date(-2)}
			return a
		}},
		{"from then on no erasure does without", EraseRole, func(h *history) act {
			h.now = RetentionJudged
			return act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}}
		}},
		{"an erasure that says it cannot be backdated", TooOld, func(h *history) act {
			h.now += 6 * 365 * day
			return late(h, eraseOf(h, "nobody"), 20)
		}},
		{"an erasure in order", "", func(h *history) act {
			h.now += 6 * 365 * day
			return eraseOf(h, "nobody")
		}},
		{"no year is a policy too", "", func(h *history) act {
			h.state.Retention = func(string, readiness.RecordKind) int { return 0 }
			h.now += 2 * day
			return eraseOf(h, "nobody")
		}},

		{"an erasure is made again by nobody in person", NotAllowed, func(h *history) act {
			a := again(h, lostErasure(h, "pat", "cora"))
			a.actor = "cora"
			return a
		}},
		{"an erasure made again is of the same person", WrongErasure, func(h *history) act {
			a := again(h, lostErasure(h, "pia", "cora"))
			a.subject = "pat"
			return a
		}},
		{"only an erasure is made again", WrongErasure, func(h *history) act {
			return again(h, lostLeaf(h, h.signOff("sam", "pat", nil)))
		}},
		{"an erasure made again was signed", ErasureUnproved, func(h *history) act {
			return again(h, lostLeaf(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}}))
		}},
		{"an erasure made again was signed by a coordinator", ErasureUnproved, func(h *history) act {
			return again(h, lostErasure(h, "pat", "sam"))
		}},
		{"an erasure made again was signed by who made it", ErasureUnproved, func(h *history) act {
			return again(h, lostLeaf(h, act{typ: Erased, actor: "founder", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}}))
		}},
		{"an erasure made again was signed by a key in force", ErasureUnproved, func(h *history) act {
			h.do(act{typ: KeyEnded, actor: "cora", subject: "cora", payload: KeyEndedPayload{Key: h.signers["cora"].Key, Why: "changed", From: h.now}})
			h.now += 1000
			return again(h, lostErasure(h, "pat", "cora"))
		}},
		{"an erasure made again with its signature over another body", ErasureUnproved, func(h *history) act {
			one, other := h.submit(act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora"}}),
				h.submit(act{typ: Erased, actor: "cora", subject: "pia", payload: ErasurePayload{}, sign: []string{"cora"}})
			one.Signatures = other.Signatures
			return again(h, recordedNow(h, one))
		}},
		{"a key that ended since is in the way of nothing", "", func(h *history) act {
			leaf := lostErasure(h, "pat", "cora")
			h.now += 1000
			h.do(act{typ: KeyEnded, actor: "cora", subject: "cora", payload: KeyEndedPayload{Key: h.signers["cora"].Key, Why: "changed", From: h.now}})
			return again(h, leaf)
		}},
		{"a key that this history lacks comes along", "", func(h *history) act {
			key := lostLeaf(h, h.keyAct("cora", "cora's second", "founder"))
			return again(h, lostLeaf(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora's second"}}), key)
		}},
		{"a key that does not come along is none", ErasureUnproved, func(h *history) act {
			h.keyAct("cora", "cora's second", "founder")
			return again(h, lostLeaf(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora's second"}}))
		}},
		{"a key that no coordinator signed does not count", ErasureUnproved, func(h *history) act {
			key := lostLeaf(h, h.keyAct("cora", "cora's second", "sam"))
			return again(h, lostLeaf(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora's second"}}), key)
		}},
		{"a key that did not sign itself does not count", ErasureUnproved, func(h *history) act {
			a := h.keyAct("cora", "cora's second", "founder")
			a.sign = []string{"founder"}
			key := lostLeaf(h, a)
			return again(h, lostLeaf(h, act{typ: Erased, actor: "cora", subject: "pat", payload: ErasurePayload{}, sign: []string{"cora's second"}}), key)
		}},
		{"a coordinator whom this history lacks comes along with key and role", "", func(h *history) act {
			role := lostLeaf(h, act{typ: RoleGranted, actor: "founder", subject: "newcomer", payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{"founder"}})
			key := lostLeaf(h, h.keyAct("newcomer", "newcomer", "founder"))
			return again(h, lostErasure(h, "pat", "newcomer"), role, key)
		}},
		{"a newcomer without the role is none", ErasureUnproved, func(h *history) act {
			key := lostLeaf(h, h.keyAct("newcomer", "newcomer", "founder"))
			return again(h, lostErasure(h, "pat", "newcomer"), key)
		}},
		{"a role that nobody signed does not count", ErasureUnproved, func(h *history) act {
			role := lostLeaf(h, act{typ: RoleGranted, actor: "founder", subject: "sam", payload: RolePayload{Role: "coordinator", From: h.date(0)}})
			return again(h, lostErasure(h, "pat", "sam"), role)
		}},
		{"nothing but keys and coordinators' roles comes along", WrongErasure, func(h *history) act {
			return again(h, lostErasure(h, "pat", "cora"), lostLeaf(h, h.signOff("sam", "pat", nil)))
		}},
		{"a person is erased again only once", PersonErased, func(h *history) act {
			leaf := lostErasure(h, "pat", "cora")
			h.do(again(h, leaf))
			return again(h, leaf)
		}},
		{"an older copy is put back by nobody in person", NotAllowed, func(h *history) act {
			return act{typ: PutBack, actor: "cora", payload: PutBackPayload{KnownRoot: EmptyRoot.String()}}
		}},

		{"a programme is adopted by signature", Unsigned, func(h *history) act {
			return act{typ: ProgrammeAdopted, actor: "cora", payload: ProgrammePayload{}, content: []string{"programme"}}
		}},
		{"parameters are adopted by signature", Unsigned, func(h *history) act {
			return act{typ: ParametersAdopted, actor: "cora", payload: ParametersPayload{}, content: []string{"parameters"}}
		}},
	}
	// Raised elsewhere: by a forged signature below, and by the store, which alone can read log-in names.
	raised := map[string]bool{BadSignature: true, LoginTaken: true}
	for _, c := range rows {
		raised[c.want] = true
	}
	for _, code := range RuleCodes() {
		if !raised[code] {
			t.Errorf("no row breaks the rule %s", code)
		}
	}
	for _, c := range rows {
		t.Run(c.name, func(t *testing.T) {
			h := found(t)
			_, err := h.judge(h.submit(c.act(h)))
			if got := codeOf(err); got != c.want {
				t.Errorf("got %q (%v), want %q", got, err, c.want)
			}
		})
	}
}

// leaves ends all that somebody holds.
func leaves(h *history, name string) {
	h.t.Helper()
	roles, _ := h.state.Roles(h.id(name))
	for _, r := range roles {
		h.do(act{typ: RoleEnded, actor: "cora", subject: name, payload: EndPayload{Ends: r.Entry, Date: h.date(0)}})
	}
}

// eraseOf erases somebody now, saying until when the records had to be kept.
func eraseOf(h *history, name string) act {
	h.t.Helper()
	keeping, err := KeepingOf(h.state, h.id(name), zone)
	if err != nil {
		h.t.Fatal(err)
	}
	return act{typ: Erased, actor: "cora", subject: name, payload: ErasurePayload{KeptUntil: KeptUntil(keeping)}, sign: []string{"cora"}}
}

// lostLeaf is an entry of a history that was lost: made, and not applied.
func lostLeaf(h *history, a act) []byte {
	h.t.Helper()
	return recordedNow(h, h.submit(a))
}

func recordedNow(h *history, s *Submission) []byte {
	h.t.Helper()
	leaf, err := s.Leaf(h.now)
	if err != nil {
		h.t.Fatal(err)
	}
	return leaf
}

func lostErasure(h *history, subject, by string) []byte {
	h.t.Helper()
	return lostLeaf(h, act{typ: Erased, actor: by, subject: subject, payload: ErasurePayload{}, sign: []string{by}})
}

// again makes an entry of a lost history again, as an erasure of whoever it is about.
func again(h *history, erasure []byte, authority ...[]byte) act {
	h.t.Helper()
	p := ErasureReplayedPayload{Erasure: base64.StdEncoding.EncodeToString(erasure), Authority: []string{}}
	for _, leaf := range authority {
		p.Authority = append(p.Authority, base64.StdEncoding.EncodeToString(leaf))
	}
	e, err := Parse(erasure)
	if err != nil {
		h.t.Fatal(err)
	}
	h.ids[KeyHolder] = KeyHolder
	for name, id := range h.ids {
		if id == e.Body.Subject {
			return act{typ: ErasedAgain, actor: KeyHolder, subject: name, payload: p}
		}
	}
	h.t.Fatal("about nobody")
	return act{}
}

// ReplayErasure takes along what leads to the signer, and nothing else; what it makes the rules accept.
func TestReplayErasure(t *testing.T) {
	h := found(t)
	role := lostLeaf(h, act{typ: RoleGranted, actor: "cora", subject: "newcomer", payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{"cora"}})
	key := lostLeaf(h, h.keyAct("newcomer", "newcomer", "cora"))
	second := lostLeaf(h, h.keyAct("newcomer", "newcomer's second", "newcomer"))
	third := lostLeaf(h, h.keyAct("founder", "founder's second", "cora"))
	forged := lostLeaf(h, h.keyAct("sam", "sam's second", "sam"))
	other := lostLeaf(h, h.signOff("sam", "pat", nil))
	erasure := lostLeaf(h, act{typ: Erased, actor: "newcomer", subject: "pat", payload: ErasurePayload{}, sign: []string{"newcomer's second"}})
	all := [][]byte{h.leaves[5], role, key, third, forged, second, other, []byte("nonsense")}
	p, err := ReplayErasure(h.state, erasure, all)
	if err != nil {
		t.Fatal(err)
	}
	want := again(h, erasure, role, key, second)
	if !reflect.DeepEqual(*p, want.payload) {
		t.Errorf("%d leaves come along, want %d", len(p.Authority), 3)
	}
	want.payload = *p
	h.do(want)
	if gone, _ := h.state.Erased(h.id("pat")); !gone {
		t.Error("pat is still there")
	}
	for name, others := range map[string][][]byte{"without the role": {key, second}, "without the first key": {role, second}, "out of order": {second, key, role}, "nothing": nil} {
		if _, err := ReplayErasure(h.state, erasure, others); codeOf(err) != ErasureUnproved {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReplayErasure(h.state, other, all); codeOf(err) != WrongErasure {
		t.Errorf("a sign-off: %v", err)
	}
}

// The years of each kind run from its own last record, and never from before the end of the last agreement.
func TestKeeping(t *testing.T) {
	h := found(t)
	h.state.Retention = func(_ string, kind readiness.RecordKind) int {
		return map[readiness.RecordKind]int{readiness.TrainingRecord: 7, readiness.AccountRecord: 0}[kind]
	}
	first := h.do(act{typ: AgreementMade, actor: "cora", subject: "pat", payload: AgreementPayload{From: h.date(-30)}})
	h.now += 10 * day
	h.do(h.signOff("sam", "pat", nil))
	read := func(name string) string {
		list, err := KeepingOf(h.state, h.id(name), zone)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, k := range list {
			fmt.Fprintf(&b, "%s %d %s %s\n", k.Kind, k.Years, k.Last, k.Until)
		}
		return b.String()
	}
	if got, want := read("pat"), "training 7 2026-01-16 2033-01-16\nagreements 0 2026-01-06 2026-01-06\nauthority 0 2026-01-05 2026-01-05\naccount 0 2026-01-05 2026-01-05\n"; got != want {
		t.Errorf("got\n%s", got)
	}
	h.do(act{typ: AgreementEnded, actor: "cora", subject: "pat", payload: EndPayload{Ends: first, Date: "2026-02-01"}})
	if got, want := read("pat"), "training 7 2026-01-16 2033-02-01\nagreements 0 2026-01-16 2026-02-01\nauthority 0 2026-01-05 2026-02-01\naccount 0 2026-01-05 2026-02-01\n"; got != want {
		t.Errorf("got\n%s", got)
	}
	if got, want := read("sam"), "training 7 2026-01-16 2033-01-16\nauthority 0 2026-01-05 2026-01-05\naccount 0 2026-01-05 2026-01-05\n"; got != want {
		t.Errorf("got\n%s", got)
	}
	for _, k := range Kinds() {
		if !slices.Contains(readiness.RecordKinds, k.Record) {
			t.Errorf("%s is kept as %q", k.Type, k.Record)
		}
	}
	if len(readiness.RecordKinds) != len(lastRecords{}) {
		t.Error("there is no room for every kind")
	}
}

// before moves a sign-off's work n days back, with the act.
func (a act) before(h *history, n int64) act {
	p := a.payload.(SignOffPayload)
	p.Started, p.Finished = p.Started-n*day, p.Finished-n*day
	p.Steps = append([]StepDone(nil), p.Steps...)
	for i := range p.Steps {
		p.Steps[i].At -= n * day
	}
	a.payload = p
	a.at = h.now - n*day
	return a
}

func TestTheFirstEntryIsTheOpening(t *testing.T) {
	h := newHistory(t)
	_, err := h.judge(h.submit(act{typ: SiteAdded, actor: "x", payload: SitePayload{Site: "s", Name: "s", Zone: zone}}))
	if codeOf(err) != NotFirst {
		t.Errorf("got %v", err)
	}
}

func TestTheOpeningIsSelfSigned(t *testing.T) {
	for _, forged := range []bool{false, true} {
		h := newHistory(t)
		k, public, _, err := NewKey(h.random, h.id("key"), h.id("f"), "p")
		if err != nil {
			t.Fatal(err)
		}
		h.signers["f"] = k
		a := act{typ: Opening, actor: "f", subject: "f", payload: OpeningPayload{Origin: "o", Title: "t", Key: MarshalKey(k.Key, public)},
			personal: []string{"name", "login"}, content: []string{"password", "sealed_key", "data_key"}}
		want := Unsigned
		if forged {
			other, _, _, err := NewKey(h.random, k.Key, h.id("f"), "p")
			if err != nil {
				t.Fatal(err)
			}
			h.signers["f"] = other // another key under the same id
			a.sign, want = []string{"f"}, BadSignature
		}
		if _, err := h.judge(h.submit(a)); codeOf(err) != want {
			t.Errorf("forged %v: got %v, want %s", forged, err, want)
		}
	}
}

func TestTheFounderTakesOneRoleOnce(t *testing.T) {
	h := found(t)
	_, err := h.judge(h.submit(act{typ: RoleGranted, actor: "founder", subject: "founder", payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{"founder"}}))
	if codeOf(err) != Oneself {
		t.Errorf("a second role: got %v", err)
	}
}

func TestAChangedBodyBreaksItsSignature(t *testing.T) {
	h := found(t)
	s := h.submit(h.signOff("sam", "pat", nil))
	s.Body.HappenedAt--
	if _, err := h.judge(s); codeOf(err) != BadSignature {
		t.Errorf("got %v", err)
	}
}

func TestThePolicyMovesTheWindow(t *testing.T) {
	h := found(t)
	h.now += 30 * day
	h.state.Backdating, h.state.windows = func(string) int { return 3 }, map[string]int{}
	if _, err := h.judge(h.submit(h.signOff("sam", "pat", nil).before(h, 3))); err != nil {
		t.Errorf("within: %v", err)
	}
	if _, err := h.judge(h.submit(h.signOff("sam", "pat", nil).before(h, 4))); codeOf(err) != LateNeedsReason {
		t.Errorf("past: %v", err)
	}
}

// The policy's window ends at midnight where the work was done, also across the change to daylight saving time; so does an
// appointment.
func TestTheWindowAcrossDaylightSaving(t *testing.T) {
	moment := func(utc string) int64 {
		at, err := time.Parse(time.RFC3339, utc)
		if err != nil {
			t.Fatal(err)
		}
		return at.UnixMilli()
	}
	at := func(h *history, utc string) act {
		ms := moment(utc)
		a := h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) {
			p.Started, p.Finished, p.Steps[0].At = ms-1000, ms, ms-500
		})
		a.at = ms
		return a
	}
	for _, c := range []struct{ name, utc, want string }{
		{"the first moment of the first day, in standard time", "2026-03-07T07:00:00Z", ""},
		{"the moment before", "2026-03-07T06:59:59Z", LateNeedsReason},
		{"the last moment of the appointment, in daylight saving time", "2026-03-09T05:59:59Z", ""},
		{"the moment after", "2026-03-09T06:00:00Z", NotAppointed},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := found(t)
			h.now = moment("2026-03-10T06:30:00Z") // half past midnight of the 10th
			h.state.Backdating, h.state.windows = func(string) int { return 3 }, map[string]int{}
			h.do(act{typ: AppointmentEnded, actor: "cora", subject: "sam", payload: EndPayload{Ends: h.id("sam's appointment"), Date: "2026-03-08"}, sign: []string{"cora"}})
			if _, err := h.judge(h.submit(at(h, c.utc))); codeOf(err) != c.want {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

// A day ends at midnight where the work is done, also across the change to daylight saving time.
func TestMidnightAndDaylightSaving(t *testing.T) {
	for _, c := range []struct{ utc, want string }{
		{"2026-03-08T06:59:59Z", "2026-03-07"}, {"2026-03-08T07:00:00Z", "2026-03-08"},
		{"2026-03-09T05:59:59Z", "2026-03-08"}, {"2026-03-09T06:00:00Z", "2026-03-09"}, // the day with 23 hours
		{"2026-11-02T06:59:59Z", "2026-11-01"}, {"2026-11-02T07:00:00Z", "2026-11-02"}, // the day with 25
	} {
		at, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Date(at.UnixMilli(), zone); err != nil || got != c.want {
			t.Errorf("%s: got %s, %v, want %s", c.utc, got, err, c.want)
		}
	}
}
