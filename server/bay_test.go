package server

import (
	"bytes"
	"image"
	"image/jpeg"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"brakewright/store/storetest"
)

func smallPhoto(t testing.TB) string {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 12, 9)), nil); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// tapWhatMustBe taps every critical step and hold point of a sheet.
func (b *browser) tapWhatMustBe(job string) *shown {
	b.t.Helper()
	p := b.get(job)
	for {
		i := strings.Index(p.body, "Before it can be finished")
		if i < 0 {
			return p
		}
		anchor := p.body[i:]
		anchor = anchor[strings.Index(anchor, `href="#`)+len(`href="#`):]
		anchor = anchor[:strings.Index(anchor, `"`)]
		f := p.form(`id="` + anchor + `-u"`)
		button := "unaided"
		if strings.Contains(p.body, `id="`+anchor+`-both"`) {
			button = "Unaided, and accepted"
		}
		p = f.press(button).says(200, "Saved.")
	}
}

// TestARequestInTheBay: asked for a later time, accepted, passed on, and in the coordinator's list all the while.
func TestARequestInTheBay(t *testing.T) {
	w := newPageWorld(t, nil)
	a, one, two, boss := w.as(w.Apprentices[0]), w.as(w.Supervisors[0]), w.as(w.Supervisors[1]), w.as(w.Coordinators[0])
	f := func() *pageForm {
		return a.get("/jobs/ask").form(`action="/jobs/ask"`).set("task", "induction").set("vehicle", "trainer-a").set("bay", "4")
	}
	f().set("planned", "2020-01-01T08:00").press("Ask").says(422, "That time has passed.")
	f().set("planned", "soon").press("Ask").says(422, "is not a time")
	p := f().set("planned", "2026-01-06T10:30").press("Ask").says(200, "Wanted", "6 Jan 2026, 10:30", "Job number 1")
	job := p.url.Path
	one.get("/waiting").says(200, "For 6 Jan 2026, 10:30")
	one.get(job).form("Accept: I will come").press("").says(200, "Accepted. The apprentice sees that you will come.", w.Supervisors[0].Name+" will watch")
	a.get("/next").says(200, w.Supervisors[0].Name+" will watch")
	boss.get("/jobs").says(200, "Open jobs", "Nobody watches yet (1)", "not yet", w.Supervisors[0].Name+" will watch")
	one.get(job).form("Any supervisor").set("to", w.Supervisors[1].ID).set("reason", "").press("Pass it on").says(422, "Write the reason.")
	one.get(job).form("Any supervisor").set("to", w.Supervisors[1].ID).set("reason", "Called away").press("Pass it on").says(200, "Passed on, with your reason.")
	two.get(job).says(200, "passed on to "+w.Supervisors[1].Name, "Called away")
	w.Clock.Add(72 * time.Hour)
	w.as(w.Coordinators[0]).get("/jobs").says(200, "too long", "Waiting never counts against the apprentice.")
	w.as(w.Apprentices[0]).get("/jobs").says(403)
}

// TestAJobInTheBay is one job with everything that a bay can bring, without a script.
func TestAJobInTheBay(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	one, two := w.as(w.Supervisors[0]), w.as(w.Supervisors[1])
	begin := func(b *browser) *shown {
		return b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").set("work_order", "KLM 123").press("Begin")
	}
	p := begin(one).says(200, "You are watching this job.")
	job := p.url.Path
	begin(two).says(409, m.Name+" is at another car right now: job 1, Make a car safe to work on.")

	p.form(`value="paused"`).press("Pause").says(200, "Paused. Nothing is tapped until you resume.").hides(`name="result"`)
	two.get("/waiting").says(200, "Paused since")
	one.get(job).form(`value="resumed"`).press("Resume").says(200, "Resumed.", "Pause")
	p = one.get(job)
	p.form("Found and put right own error").set("what_happened", "Chock on the wrong side").press("Found and put right").says(200, "Own error found and put right: Chock on the wrong side")
	p = one.get(job).form("Parts fitted").set("parts", "none").set("fluid", "DOT 4").press("Keep parts").says(200, "Saved.")
	p = p.follow("Questions to ask at the car").says(200, "Only you see the answers.", "Right")
	p.form("Satisfactory").press("Satisfactory").says(200, "Saved.", "Asked at the car")
	w.as(m).get(job + "?oral=1").says(200).hides("Only you see the answers.")

	p = one.get(job)
	p.form("Keep the photograph").set("photo", "<svg/>").press("Keep the photograph").says(422, "This is no photograph that can be used.")
	p = one.get(job).form("Keep the photograph").set("photo", smallPhoto(t)).press("Keep the photograph").says(200, "Photograph 1")
	picture := p.link("")
	for _, part := range strings.Split(p.body, `"`) {
		if strings.HasPrefix(part, job+"/photos/") {
			picture = part
		}
	}
	for _, b := range []*browser{one, two, w.as(m)} {
		if q := b.get(picture); q.status != 200 || q.header.Get("Content-Type") != "image/jpeg" {
			t.Errorf("%s: %d %s", picture, q.status, q.header.Get("Content-Type"))
		}
	}
	w.as(w.Apprentices[1]).get(picture).says(403)

	// Somebody else's page, left open on the shared tablet, taps nothing under a new name.
	old := one.get(job).form("There was a near miss")
	one.get(job).form("Change person").press("Change person").says(200, "You are logged out.")
	if q := one.get("/login?next=" + url.QueryEscape(job)); q.form("password").values.Get("next") != job {
		t.Error("the next person does not land on the job")
	}
	one.get("/login").form("password").set("login", w.Supervisors[1].Login).set("password", w.Supervisors[1].Password).press("")
	old.press("near miss").says(409, "This page was opened by somebody else")

	one = w.as(w.Supervisors[0])
	one.get(job).form("How hard was it").press("Finished").says(422)
	one.tapWhatMustBe(job)
	one.get(job).form(`value="interrupted"`).press("interrupted").says(422, "Say why the job ended this way.")
	p = one.get(job).form(`value="stopped_by_supervisor"`).set("why", "The jack sank").press("stopped_by_supervisor").says(200, "Outcome: stopped by the supervisor", "The jack sank", "1 photograph.", "Fluid: DOT 4")
	p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase).press("Sign").says(200, "Signed.")
	if q := one.get(picture); q.status != 200 {
		t.Errorf("after signing the photograph answers %d", q.status)
	}
	w.as(m).get("/record").says(200, "1 photograph, on the sheet", "Watched and signed by "+w.Supervisors[0].Name)
}

// TestAnEndedSessionLosesNoTap: the tap waits in the log-in form and is made by whose page it was on, by nobody else.
func TestAnEndedSessionLosesNoTap(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Supervisors[0])
	p := b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", w.Apprentices[0].ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	job := p.url.Path
	w.Clock.Add(31 * time.Minute)
	q := p.form("There was a near miss").press("near miss").says(401, "The tap is kept: log in, and it is saved.")
	q.form("password").set("login", w.Supervisors[0].Login).set("password", "wrong one entirely").press("").says(401)
	q.form("password").set("login", w.Supervisors[0].Login).set("password", w.Supervisors[0].Password).press("").says(200, "A near miss is noted.")
	w.Clock.Add(31 * time.Minute)
	p = b.get(job)
	p.form("password").set("login", w.Supervisors[0].Login).set("password", w.Supervisors[0].Password).press("")
	p = b.get(job)
	w.Clock.Add(31 * time.Minute)
	q = p.form(`value="paused"`).press("Pause").says(http.StatusUnauthorized)
	q.form("password").set("login", w.Supervisors[1].Login).set("password", w.Supervisors[1].Password).press("").says(409, "This page was opened by somebody else")
}

func TestPaperSheetOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	a := w.as(w.Apprentices[0])
	askJob(a, "induction", "trainer-a")
	w.Clock.Add(8 * time.Hour)
	sup := w.as(w.Supervisors[0])
	sup.get("/jobs/number").form("Job number").set("number", "99").press("").says(422, "No job that you may see has this number.")
	p := sup.get("/jobs/number").form("Job number").set("number", "1").press("").says(200, "Waiting for a supervisor")
	job := p.url.Path
	p.form("Enter the sheet").set("day", "2026-01-05").set("from", "10:00").set("to", "09:00").press("Enter").says(422, "The job must end after it began.")
	sup.get(job).form("Enter the sheet").set("day", "2026-01-05").set("from", "08:30").set("to", "10:00").press("Enter").says(200, "Now tap what stands on the sheet", "from the printed sheet")
	sup.tapWhatMustBe(job)
	p = sup.get(job).form("How hard was it").press("Finished").says(200, "A second person signs, too")
	sign := func(p *shown) *pageForm {
		return p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase).set("late_reason", "No power in the yard").set("second_login", w.Supervisors[1].Login).set("second_passphrase", w.Supervisors[1].Passphrase)
	}
	sign(p).press("Sign").says(422, "needs a photograph of the printed sheet")
	sup.get(job).form("Keep the photograph").set("photo", smallPhoto(t)).press("Keep").says(200)
	sign(sup.get("/sign")).press("Sign").says(200, "Signed.")
	a = w.as(w.Apprentices[0])
	a.get("/record").says(200, "Entered from the printed sheet of job 1")
}

func TestACarComesBackOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	w.induct(m, "induction")
	w.clearByWaiver(m, "induction")
	sup := w.as(w.Supervisors[0])
	a := w.as(m)
	a.get("/jobs/alone").form("Record it").set("task", "induction").set("date", w.Today()).set("work_order", "KLM 123").set("fluid", "DOT 4").press("Record").says(200, "The job was recorded.")

	p := sup.get("/checks/new").form("Sign the spot check").set("apprentice", m.ID).set("task", "induction").set("finding", "flaw").set("passphrase", w.Supervisors[0].Passphrase).press("Sign")
	p.says(422, "Say what was found.").form("Sign the spot check").set("notes", "A cap was missing").set("passphrase", w.Supervisors[0].Passphrase).press("Sign").says(200, "The spot check is signed.", "A cap was missing")
	p = sup.get("/checks/new").form("Sign the spot check").set("apprentice", m.ID).set("task", "induction").set("finding", "unsafe").set("notes", "Loose").set("passphrase", w.Supervisors[0].Passphrase).press("Sign")
	p.says(422, "The apprentice is cleared for this task").form("Sign the spot check").set("decision", "keep").set("decision_reason", "Another hand").set("passphrase", w.Supervisors[0].Passphrase).press("Sign").says(200, "The spot check is signed.")

	boss := w.as(w.Coordinators[0])
	boss.get("/cases").says(200, "No car has come back.")
	boss.get("/cases/new?q=nothing+such").says(200, "No signed job is known by", "Whose work it was")
	p = boss.get("/cases/new?q=klm-123").says(200, m.Name, "done alone")
	p.form("Open the case").set("complaint", "").press("Open the case").says(422, "Write the reason.")
	p = p.form("Open the case").set("complaint", "Soft pedal").press("Open the case").says(200, "The case is open.", "Released by", "DOT 4", "Open for", "KLM 123")
	path := p.url.Path
	boss.get("/cases").says(200, "Open (1)", "Nothing of anybody in an open case can be erased.")
	sup.get(path).form("Stand down for this task").press("Stand down").says(200, "Stood down")
	finding := func(b *browser, m *storetest.Member) *pageForm {
		return b.get(path).form("Sign the finding").set("finding", "our_work").set("what", "A bleeder was loose").set("passphrase", m.Passphrase)
	}
	finding(boss, w.Coordinators[0]).set("passphrase", "not this one at all").press("Sign").says(422, "wrong")
	finding(boss, w.Coordinators[0]).press("Sign").says(200, "The finding is signed.", "Finding: Our work", "A bleeder was loose").hides("Sign the finding")
	boss.get("/cases").says(200, "With a finding (1)", "Our work")
	w.as(w.Apprentices[1]).get(path).says(403)
	a = w.as(m)
	a.get("/record").says(200, "A car came back: finding", "our work")
}

// TestAPIBay walks the API of what pages do above.
func TestAPIBay(t *testing.T) {
	w := newAPIWorld(t, "")
	pat, sam, sue, ada := w.Apprentices[0], w.Supervisors[0], w.Supervisors[1], w.Coordinators[0]
	p, s, u, c := w.as(pat), w.as(sam), w.as(sue), w.as(ada)
	when := w.Clock.Now().Add(24 * time.Hour).UTC().Format(time.RFC3339)
	job := p.must(201, "POST", "/jobs", object{"task": "induction", "vehicle": "trainer-a", "bay": "4", "planned_at": when})
	id := "/jobs/" + job["id"].(string)
	if got := s.must(200, "POST", id+"/accept", nil); got["accepted"] != true || got["asked_of"] != sam.ID || got["planned_at"] == nil {
		t.Errorf("%v", got)
	}
	if got := s.must(200, "POST", id+"/pass-on", object{"to": sue.ID, "reason": "Called away"}); got["accepted"] != false || got["asked_of"] != sue.ID {
		t.Errorf("%v", got)
	}
	u.must(200, "POST", id+"/take", nil)
	if got := s.must(409, "POST", "/jobs", object{"apprentice": pat.ID, "task": "induction", "vehicle": "trainer-b"}); got["code"] != "at_another_job" || got["args"].(object)["number"] != "1" {
		t.Errorf("%v", got)
	}
	oral := u.list(id + "/oral?number=2")
	q := oral[0].(object)
	first := job["steps"].([]any)[0].(object)["key"]
	sheet := u.must(200, "POST", id+"/taps", []any{
		object{"id": w.ID(), "event": "paused"}, object{"id": w.ID(), "event": "resumed"},
		object{"id": w.ID(), "oral": object{"question": q["question"], "number": 2, "satisfactory": true}},
		object{"id": w.ID(), "step": first, "own_error": true, "what_happened": "Seen and mended"},
		object{"id": w.ID(), "parts": "none", "fluid": "DOT 4"},
	})
	if len(sheet["pauses"].([]any)) != 1 || len(sheet["oral"].([]any)) != 1 || sheet["steps"].([]any)[0].(object)["own_error"] != true || sheet["fluid"] != "DOT 4" {
		t.Errorf("%v", sheet)
	}
	u.must(422, "POST", id+"/photos", "<svg/>")
	u.key = w.ID()
	sheet = u.must(201, "POST", id+"/photos", smallPhoto(t))
	path := strings.TrimPrefix(sheet["photos"].([]any)[0].(object)["path"].(string), apiPrefix)
	r, err := http.NewRequest("GET", w.site.URL+apiPrefix+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Authorization", "Bearer "+p.token)
	resp, err := http.DefaultClient.Do(r)
	if err != nil || resp.StatusCode != 200 || resp.Header.Get("Content-Type") != "image/jpeg" {
		t.Fatalf("the photograph: %v %v", resp, err)
	}
	resp.Body.Close()
	if got := u.must(200, "GET", "/jobs/number/1", nil); got["id"] != job["id"] {
		t.Errorf("%v", got)
	}
	u.must(201, "POST", id+"/sign", object{"passphrase": sue.Passphrase, "outcome": "interrupted"})

	paper := p.must(201, "POST", "/jobs", object{"task": "induction", "vehicle": "trainer-a"})
	now := w.Clock.Now().UTC()
	s.must(422, "POST", "/jobs/"+paper["id"].(string)+"/paper", object{"from": now.UnixMilli(), "to": now.UnixMilli()})
	w.Clock.Add(20 * time.Minute)
	got := s.must(200, "POST", "/jobs/"+paper["id"].(string)+"/paper", object{"from": now.Add(time.Minute).Format(time.RFC3339), "to": now.Add(15 * time.Minute).UnixMilli()})
	if got["paper"] != true || got["status"] != "watching" {
		t.Errorf("%v", got)
	}

	s.must(201, "POST", "/spot-checks", object{"apprentice": pat.ID, "task": "induction", "finding": "sound", "passphrase": sam.Passphrase})
	work := c.list("/work?q=1")
	if len(work) != 1 {
		t.Fatalf("%v", work)
	}
	opened := c.must(201, "POST", "/cases", object{"jobs": []any{work[0].(object)["entry"]}, "complaint": "Soft pedal"})
	if open := c.list("/cases?open=true"); len(open) != 1 {
		t.Errorf("%v", open)
	}
	theCase := "/cases/" + opened["id"].(string)
	if got := s.must(200, "GET", theCase, nil); got["open"] != true || len(got["jobs"].([]any)) != 1 {
		t.Errorf("%v", got)
	}
	c.must(201, "POST", theCase+"/finding", object{"finding": "part", "what": "A hose", "passphrase": ada.Passphrase})
	if got := s.must(200, "GET", theCase, nil); got["finding"] != "part" || got["found"] != "A hose" {
		t.Errorf("%v", got)
	}
	p.must(403, "GET", theCase, nil)
}
