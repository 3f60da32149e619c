package server

import (
	"context"
	"sort"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// entryLine is a ledger entry in plain words.
type entryLine struct {
	ID, Path string
	Index    int64
	When     moment
	Title    string
	Lines    []string // facts, one a line
	Readings []string // of a sign-off
	By       string   // who made it, "" where it is the subject
	About    string   // whom it concerns
	SignedBy []string
	ByLine   string // who made and signed it, in words
	Site     string
	JobPath  string // of a sign-off
	TestPath string // of a theory test
	Follow   []followLine
}

// entryTitles are what kinds of entries are called.
var entryTitles = map[ledger.Type]string{
	ledger.Opening:           "The programme was founded",
	ledger.ProgrammeAdopted:  "A programme edition was adopted",
	ledger.ParametersAdopted: "Parameters of the estimate were adopted",
	ledger.SiteAdded:         "A site was added",
	ledger.CohortAdded:       "A cohort was added",
	ledger.CohortJoined:      "Joined a cohort",
	ledger.CohortLeft:        "Left a cohort",
	ledger.PersonAdded:       "Added to the roster",
	ledger.PersonRenamed:     "Name or log-in name changed",
	ledger.RoleGranted:       "A role was given",
	ledger.RoleEnded:         "A role was ended",
	ledger.Appointed:         "Appointed for a task",
	ledger.AppointmentEnded:  "An appointment was ended",
	ledger.KeyAdded:          "A signing key came into force",
	ledger.KeyEnded:          "A signing key was ended",
	ledger.PasswordSet:       "A password was set",
	ledger.AgreementMade:     "Training agreement made",
	ledger.AgreementEnded:    "Training agreement ended",
	ledger.LeaveTaken:        "Leave",
	ledger.LessonRead:        "Lesson read",
	ledger.TestIssued:        "Theory test begun",
	ledger.TestHandedIn:      "Theory test handed in",
	ledger.ShopNote:          "A shop note was pinned, or taken off",
	ledger.QuestionVoided:    "A question was voided, or counts again",
	ledger.SignOff:           "Watched job signed",
	ledger.UnwatchedJob:      "Unwatched job",
	ledger.SpotCheck:         "Spot check",
	ledger.CaseOpened:        "A car came back: case opened",
	ledger.Return:            "A car came back: finding",
	ledger.ClearanceGiven:    "Clearance",
	ledger.StandDownOrdered:  "Stand-down",
	ledger.StandDownSigned:   "A stand-down was signed",
	ledger.Restored:          "Restored after a stand-down",
	ledger.Recognised:        "Earlier training recognised",
	ledger.Corrected:         "Correction",
	ledger.Disputed:          "Dispute",
	ledger.DisputeSettled:    "Dispute settled",
	ledger.Countersigned:     "Countersigned",
	ledger.Replied:           "The apprentice’s side",
	ledger.StandDownReviewed: "A stand-down was reviewed",
	ledger.Assigned:          "Given to somebody",
	ledger.Erased:            "Erased",
	ledger.ErasedAgain:       "Erased again after an older copy was put back",
	ledger.PutBack:           "An older copy of the database was put back",
}

// entryWords holds what the words for entries need to know.
type entryWords struct {
	p       *curriculum.Programme
	c       clock
	sites   map[string]string
	cohorts map[string]string
}

// factsOf says an entry's payload in plain words, one fact a line.
func (w entryWords) factsOf(e *store.EntryView, name func(id string) string) []string {
	var out []string
	add := func(parts ...string) {
		if line := strings.TrimSpace(strings.Join(parts, "")); line != "" {
			out = append(out, line)
		}
	}
	personal := func(field, label string) {
		if v := e.Personal[field]; v != "" {
			add(label, v)
		}
	}
	until := func(u string) string {
		if u == "" {
			return ""
		}
		return " until " + w.c.day(u).Text
	}
	switch x := payloadOf(e).(type) {
	case *ledger.OpeningPayload:
		add(x.Title)
		add("Checkpoint origin: ", x.Origin)
	case *ledger.ProgrammePayload:
		add("Edition ", short(x.Content["programme"]))
	case *ledger.ParametersPayload:
		add("Snapshot ", short(x.Content["parameters"]))
	case *ledger.SitePayload:
		add(x.Name, ", ", x.Zone)
	case *ledger.CohortPayload:
		add(x.Name, " at ", w.sites[x.Site])
	case *ledger.MembershipPayload:
		add(w.cohorts[x.Cohort], ", ", w.c.day(x.Date).Text)
	case *ledger.ErasurePayload, *ledger.ErasureReplayedPayload:
		add("Name, log-in name, notes and everything else that is personal was destroyed. The entries stay.")
		if x, ok := x.(*ledger.ErasurePayload); ok && x.KeptUntil != "" {
			add("The records had to be kept until ", w.c.day(x.KeptUntil).Text)
		}
	case *ledger.PutBackPayload:
		add("The copy had ", count(int(x.Entries), "entry", "entries"), "; a head is known of ", count(int(x.KnownSize), "entry", "entries"), " with the root ", x.KnownRoot, ". What was recorded between is lost.")
	case *ledger.PersonPayload:
		personal("name", "Name: ")
		personal("login", "Log-in name: ")
	case *ledger.RolePayload:
		site := "all sites"
		if x.Site != "" {
			site = w.sites[x.Site]
		}
		add(roleName(x.Role), " at ", site, " from ", w.c.day(x.From).Text, until(x.Until))
		if x.Author {
			add("With the author right")
		}
	case *ledger.EndPayload:
		add("Last day: ", w.c.day(x.Date).Text)
	case *ledger.AppointmentPayload:
		site := "all sites"
		if x.Site != "" {
			site = w.sites[x.Site]
		}
		add(taskTitle(w.p, x.Task), " at ", site, " from ", w.c.day(x.From).Text, until(x.Until))
		personal("qualification", "Qualification: ")
		personal("number", "Number: ")
	case *ledger.KeyAddedPayload:
		add("Key ", short(x.Key.Key))
	case *ledger.KeyEndedPayload:
		add("Key ", short(x.Key), ": ", say.KeyEnd(x.Why))
		if x.Why == "compromised" {
			add("What it signed since ", w.c.ms(x.From).Text, " is in question")
		}
	case *ledger.AgreementPayload:
		personal("employer", "Employer: ")
		add("From ", w.c.day(x.From).Text, until(x.Until))
	case *ledger.LeavePayload:
		add("From ", w.c.day(x.From).Text, " to ", w.c.day(x.To).Text)
	case *ledger.ReadingPayload:
		add(lessonTitle(w.p, x.Lesson))
		add("Edition ", short(x.Edition))
		if x.Since != "" {
			add("What changed since the programme ", short(x.Since), ", confirmed")
		}
	case *ledger.TestIssuedPayload:
		add(taskTitle(w.p, x.Task))
	case *ledger.TestHandedInPayload:
		add(taskTitle(w.p, x.Task))
		if x.Passed {
			add("Passed with ", itoa(x.Percent), " %")
		} else {
			add("Not passed: ", itoa(x.Percent), " %")
		}
		if x.WatchedBy != "" {
			add("Watched by ", name(x.WatchedBy))
		}
	case *ledger.ShopNotePayload:
		add(lessonTitle(w.p, x.Lesson), ": ", stepTitle(w.p, x.Lesson+"/"+x.Step))
		if x.Removes != "" {
			add("Taken off: entry ", short(x.Removes))
		}
		personal("note", "")
	case *ledger.QuestionVoidedPayload:
		out = append(out, voidFacts(w.p, x, name)...)
	case *ledger.SignOffPayload:
		out = append(out, w.signOffFacts(e, x, name)...)
	case *ledger.UnwatchedJobPayload:
		add(taskTitle(w.p, x.Task), ", done alone on ", w.c.day(x.Date).Text)
		if v := w.p.Vehicle(x.Vehicle); v != nil {
			add("Car: ", v.Title)
		}
		w.carFacts(e, add)
		if x.Parts != "" {
			add("Parts fitted: ", x.Parts)
		}
		if x.Fluid != "" {
			add("Fluid: ", x.Fluid)
		}
		personal("notes", "Note: ")
	case *ledger.SpotCheckPayload:
		add(taskTitle(w.p, x.Task), ": ", strings.ToLower(wordOr(findingNames, x.Finding)))
		w.carFacts(e, add)
		personal("notes", "Found: ")
	case *ledger.CaseOpenedPayload:
		add(taskTitle(w.p, x.Task))
		w.carFacts(e, add)
		personal("what_happened", "Complaint: ")
		personal("notes", "Known besides: ")
	case *ledger.ReturnPayload:
		add(taskTitle(w.p, x.Task), ". Finding: ", strings.ToLower(wordOr(findingNames, x.Finding)))
		w.carFacts(e, add)
		personal("what_happened", "Found: ")
	case *ledger.ClearancePayload:
		add("May do alone: ", taskTitle(w.p, x.Task), until(x.Until))
		for _, l := range x.Layouts {
			add("Only cars with this layout: ", readable(l))
		}
		for _, h := range x.Holds {
			add("Still watched before release: ", stepTitle(w.p, h))
		}
		if x.Waiver != nil {
			var gates []string
			for _, g := range x.Waiver.Gates {
				gates = append(gates, say.GateName(g))
			}
			if len(gates) == 0 {
				add("By waiver: less sure than the policy asks")
			} else {
				add("By waiver, set aside: ", strings.Join(gates, ", "), until(x.Waiver.Until))
			}
		}
	case *ledger.StandDownPayload:
		add(taskOrAll(w.p, x.Task))
	case *ledger.StandDownSignedPayload:
		add("Signs stand-down ", short(x.StandDown))
	case *ledger.RestorePayload:
		add(taskOrAll(w.p, x.Task))
	case *ledger.RecognitionPayload:
		var gates []string
		for _, g := range x.StandsFor {
			gates = append(gates, say.GateName(g))
		}
		add(taskTitle(w.p, x.Task), ". Stands for: ", strings.Join(gates, ", "))
		if x.Jobs > 0 {
			add("For ", count(x.Jobs, "watched job", "watched jobs"))
		}
	case *ledger.CorrectionPayload:
		if x.Withdraw {
			add("Withdraws entry ", short(e.Entry.Body.Corrects))
		} else {
			add("Corrects entry ", short(e.Entry.Body.Corrects), ". The record now:")
			out = append(out, w.signOffFacts(e, x.SignOff, name)...)
		}
	case *ledger.DisputePayload:
		add("Disputes entry ", short(x.Disputes))
	case *ledger.SettlementPayload:
		switch {
		case x.Upheld:
			add("Entry ", short(x.Disputes), " does not count any more")
		case x.Stands == x.Disputes:
			add("Entry ", short(x.Disputes), " stands as it was first")
		case x.Stands != "":
			add("Of entry ", short(x.Disputes), " correction ", short(x.Stands), " stands")
		default:
			add("Entry ", short(x.Disputes), " stands")
		}
	case *ledger.CountersignedPayload:
		add("Agrees to entry ", short(x.Entry))
	case *ledger.ReplyPayload:
		add("On entry ", short(x.Entry))
		personal("text", "")
	case *ledger.StandDownReviewPayload:
		add("Stand-down ", short(x.StandDown), " stays")
		personal("lifts", "What lifts it: ")
	case *ledger.AssignedPayload:
		add("Entry or job ", short(x.Matter), " was given to ", name(x.To))
	}
	personal("reason", "Reason: ")
	if len(e.Closed) > 0 {
		add("Erased or closed: ", strings.Join(e.Closed, ", "))
	}
	return out
}

// carFacts say a customer's car and its plate or work order.
func (w entryWords) carFacts(e *store.EntryView, add func(...string)) {
	if c := carWords(e.Personal["car"]); c != "" {
		add("Car: ", c)
	}
	if o := e.Personal["work_order"]; o != "" {
		add("Work order or plate: ", o)
	}
}

func (w entryWords) signOffFacts(e *store.EntryView, x *ledger.SignOffPayload, name func(id string) string) []string {
	var out []string
	car := x.Vehicle
	if v := w.p.Vehicle(x.Vehicle); v != nil {
		car = v.Title
	}
	if c := e.Personal["car"]; c != "" {
		car = carName(c)
	}
	line := taskTitle(w.p, x.Task)
	if car != "" {
		line += ". Car: " + car
	}
	out = append(out, line)
	if o := e.Personal["work_order"]; o != "" {
		out = append(out, "Work order or plate: "+o)
	}
	out = append(out, w.times(x), "Outcome: "+wordOr(outcomeNames, x.Outcome)+". Difficulty: "+strings.ToLower(wordOr(difficultyNames, x.Difficulty))+".")
	n := map[string]int{}
	var errors []string
	for _, st := range x.Steps {
		n[st.Result]++
		if st.CriticalError {
			text := stepTitle(w.p, st.Step)
			if in := stepInNames[st.SteppedIn]; in != "" {
				text += ". " + strings.TrimSuffix(in, ".")
			}
			if why := happenedLines(e, st.Step, ""); why != nil {
				text += ": " + strings.Join(why, " ")
			}
			errors = append(errors, text)
		}
	}
	var parts []string
	for _, r := range []string{"unaided", "prompted", "taken_over", "not_reached", "not_applicable"} {
		if n[r] > 0 {
			parts = append(parts, itoa(n[r])+" "+strings.ToLower(resultNames[r]))
		}
	}
	out = append(out, "Steps: "+strings.Join(parts, ", ")+".")
	for _, t := range errors {
		out = append(out, "Critical error: "+t)
	}
	for _, r := range []string{"prompted", "taken_over"} {
		var names []string
		for _, st := range x.Steps {
			if st.Result == r {
				names = append(names, stepTitle(w.p, st.Step))
			}
		}
		if len(names) > 0 {
			out = append(out, resultNames[r]+": "+strings.Join(names, "; "))
		}
	}
	for _, st := range x.Steps {
		if st.OwnError {
			out = append(out, withWords("Own error found and put right: "+stepTitle(w.p, st.Step), happenedLines(e, st.Step, acts.PutRight)))
		}
	}
	told := map[string]bool{}
	for _, h := range x.Holds {
		if !h.Accepted && !told[h.Step] {
			told[h.Step] = true
			out = append(out, withWords("Sent back: "+stepTitle(w.p, h.Step), happenedLines(e, h.Step, acts.SentBack)))
		}
	}
	if x.NearMiss {
		out = append(out, "A near miss")
	}
	for _, o := range x.Oral {
		out = append(out, "Asked at the car: “"+say.OneLine(o.Text)+"” "+map[bool]string{true: "Satisfactory.", false: "Not satisfactory."}[o.Satisfactory])
	}
	if x.Parts != "" {
		out = append(out, "Parts fitted: "+x.Parts)
	}
	if x.Fluid != "" {
		out = append(out, "Fluid: "+x.Fluid)
	}
	if x.Paper {
		out = append(out, "Entered from the printed sheet of job "+itoa(x.Number))
	}
	if n := len(x.Photos); n > 0 {
		out = append(out, count(n, "photograph", "photographs")+", on the sheet")
	}
	for _, r := range x.Readings {
		if v := curriculum.Verdict(r.Verdict); v == curriculum.Below || v == curriculum.Above {
			out = append(out, "Reading "+verdictWords[v]+": "+stepTitle(w.p, r.Step)+", "+curriculum.Written(r.Value, curriculum.Unit(r.Unit), "en")+" ("+r.Limit+")")
		}
	}
	for _, v := range strings.Split(e.Personal["notes"], "\n") {
		if v != "" {
			out = append(out, "Note: "+v)
		}
	}
	var watched []string
	for _, id := range x.Supervisors {
		watched = append(watched, name(id))
	}
	if len(x.Supervisors) == 1 && x.Supervisors[0] == e.Entry.Body.Actor {
		return out // who signed alone watched alone: the line below says it
	}
	return append(out, "Watched by "+strings.Join(watched, ", "))
}

// times says when the job was done, and when it stood still.
func (w entryWords) times(x *ledger.SignOffPayload) string {
	at := func(ms int64) string { return w.c.at(time.UnixMilli(ms)).Text }
	span := func(from, to int64) string {
		a, b := at(from), at(to)
		if day, _, ok := strings.Cut(a, ", "); ok {
			b = strings.TrimPrefix(b, day+", ")
		}
		return a + " to " + b
	}
	out := "From " + span(x.Started, x.Finished)
	for i, p := range x.Pauses {
		out += map[bool]string{true: "; paused ", false: ", "}[i == 0] + span(p.From, p.To)
	}
	return out
}

// happenedLines are the lines of what happened at a step, of one kind.
func happenedLines(e *store.EntryView, step, begins string) []string {
	return acts.Happened(e.Personal["what_happened/"+step], begins)
}

// withWords puts what was said behind a fact.
func withWords(fact string, words []string) string {
	if len(words) == 0 {
		return fact
	}
	return fact + ". " + strings.Join(words, "; ")
}

// readingsOf says the readings of a sign-off, those outside their limits first.
func (w entryWords) readingsOf(x *ledger.SignOffPayload) []string {
	var out, within []string
	for _, r := range x.Readings {
		t := stepTitle(w.p, r.Step) + ": " + curriculum.Written(r.Value, curriculum.Unit(r.Unit), "en")
		if r.Instrument != "" {
			t += ", " + r.Instrument
			if r.Calibrated != "" {
				t += " calibrated " + w.c.day(r.Calibrated).Text
			}
		}
		if r.Limit != "" {
			t += " (" + r.Limit + ")"
		}
		v := curriculum.Verdict(r.Verdict)
		if words := verdictWords[v]; words != "" {
			t += ", " + words
		}
		if v == curriculum.Below || v == curriculum.Above {
			out = append(out, t)
		} else {
			within = append(within, t)
		}
	}
	return append(out, within...)
}

func taskOrAll(p *curriculum.Programme, task string) string {
	if task == "" {
		return "All tasks"
	}
	return taskTitle(p, task)
}

// short is the beginning of a hash or id, enough to tell entries apart on a page; ids begin with their time, so their end
// is shown.
func short(id string) string {
	switch {
	case strings.Count(id, "-") == 4:
		return "…" + id[len(id)-8:]
	case len(id) > 12:
		return id[:12]
	}
	return id
}

// entryLine says an entry in plain words.
func (s *Server) entryLine(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, e *store.EntryView) (entryLine, error) {
	w := entryWords{p: p, c: c}
	var err error
	if w.sites, err = names.siteNames(ctx); err != nil {
		return entryLine{}, err
	}
	if w.cohorts, err = names.cohortNames(ctx); err != nil {
		return entryLine{}, err
	}
	var failed error
	name := func(id string) string {
		n, err := names.name(ctx, id)
		if err != nil {
			failed = err
		}
		return n
	}
	b := e.Entry.Body
	l := entryLine{ID: b.ID, Path: "/ledger/" + b.ID, Index: e.Index, When: c.ms(b.HappenedAt), Title: wordOrType(b.Type), Site: w.sites[b.Site]}
	l.Lines = w.factsOf(e, name)
	if b.Subject != "" && b.Subject != b.Actor {
		l.About = name(b.Subject)
	}
	l.By = name(b.Actor)
	if l.Follow, err = s.follow(ctx, c, p, names, e); err != nil {
		return l, err
	}
	l.SignedBy, err = signers(ctx, names, e)
	if err != nil {
		return l, err
	}
	l.ByLine = byLine(l, b.Type)
	switch x := payloadOf(e).(type) {
	case *ledger.SignOffPayload:
		l.JobPath, l.Readings = "/jobs/"+x.Job, w.readingsOf(x)
	case *ledger.CorrectionPayload:
		if x.SignOff != nil {
			l.JobPath, l.Readings = "/jobs/"+x.SignOff.Job, w.readingsOf(x.SignOff)
		}
	case *ledger.TestHandedInPayload:
		l.TestPath = "/tests/" + x.Test
	}
	return l, failed
}

// byLine names each person once: who made an entry and alone signed it is said to have signed it.
func byLine(l entryLine, t ledger.Type) string {
	verb := "Signed by "
	if t == ledger.SignOff {
		verb = "Watched and signed by "
	}
	switch {
	case len(l.SignedBy) == 0:
		return "By " + l.By
	case len(l.SignedBy) == 1 && l.SignedBy[0] == l.By:
		return verb + l.By
	}
	return "By " + l.By + ". Signed by " + strings.Join(l.SignedBy, " and ")
}

func wordOrType(t ledger.Type) string {
	if w, ok := entryTitles[t]; ok {
		return w
	}
	return readable(string(t))
}

// signers are the names of those whose keys signed an entry, sorted, each once.
func signers(ctx context.Context, names *nameBook, e *store.EntryView) ([]string, error) {
	var people, out []string
	for _, sig := range e.Entry.Signatures {
		p, err := names.owner(ctx, sig.Key)
		if err != nil {
			return nil, err
		}
		people = appendNew(people, p)
	}
	for _, p := range people {
		n, err := names.name(ctx, p)
		if err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	sort.Strings(out)
	return out, nil
}
