package ledger

import (
	"encoding/base64"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode"
)

// The values that fields of payloads may take.
var (
	Roles        = []string{"apprentice", "supervisor", "coordinator"}
	Difficulties = []string{"routine", "usual", "awkward"}
	Settings     = []string{"bench", "training_vehicle", "customers_car"}
	Outcomes     = []string{"finished", "rightly_stopped", "stopped_by_supervisor", "interrupted"}
	StepResults  = []string{"unaided", "prompted", "taken_over", "not_reached", "not_applicable"}
	CheckFinding = []string{"sound", "flaw", "unsafe"}              // of a spot check
	Findings     = []string{"our_work", "part", "other", "unknown"} // of a return
	SteppedIns   = []string{"supervisor", "other", "nobody"}        // at a critical error; nobody: it was found afterwards
	KeyEnds      = []string{"changed", "lost", "compromised"}
)

// faults collects the first fault of a payload.
type faults struct {
	field, what string
}

func (f *faults) add(field, what string, args ...any) {
	if f.what == "" {
		f.field, f.what = field, fmt.Sprintf(what, args...)
	}
}

func (f *faults) oneOf(field, value string, allowed []string) {
	if !contains(allowed, value) {
		f.add(field, "%q is none of %s", value, strings.Join(allowed, ", "))
	}
}

func (f *faults) date(field, value string) {
	if !ValidDate(value) {
		f.add(field, "%q is not a date YYYY-MM-DD", value)
	}
}

// span checks two dates of which the second may be absent, inclusive.
func (f *faults) span(fromField, from, untilField, until string) {
	f.date(fromField, from)
	if until == "" {
		return
	}
	f.date(untilField, until)
	if until < from {
		f.add(untilField, "%s is before %s", until, from)
	}
}

func (f *faults) id(field, value string) {
	if !validName(value) {
		f.add(field, "%q is not an id: from 1 to 200 bytes without spaces at either end or control characters", value)
	}
}

func (f *faults) hash(field, value string) {
	if !ValidHash(value) {
		f.add(field, "%q is not 64 lower-case hexadecimal digits", value)
	}
}

func (f *faults) time(field string, ms int64) {
	if ms < 0 {
		f.add(field, "%d is before 1970", ms)
	}
}

func (f *faults) count(field string, n int) {
	if n < 0 {
		f.add(field, "%d is negative", n)
	}
}

// ValidDate says whether s is a real date as YYYY-MM-DD.
func ValidDate(s string) bool {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return false
	}
	n := func(t string) int {
		v := 0
		for i := 0; i < len(t); i++ {
			if t[i] < '0' || t[i] > '9' {
				return -1
			}
			v = v*10 + int(t[i]-'0')
		}
		return v
	}
	y, m, d := n(s[:4]), n(s[5:7]), n(s[8:])
	if y < 1 || m < 1 || m > 12 || d < 1 {
		return false
	}
	last := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}[m-1]
	if m == 2 && y%4 == 0 && (y%100 != 0 || y%400 == 0) {
		last = 29
	}
	return d <= last
}

// ValidHash says whether s is a SHA-256 in lower-case hexadecimal digits.
func ValidHash(s string) bool {
	if len(s) != 64 {
		return false
	}
	for i := 0; i < len(s); i++ {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// ValidID says whether s is a UUIDv7 in lower-case hexadecimal digits, as ids of entries are.
func ValidID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i := 0; i < 36; i++ {
		c := s[i]
		switch {
		case i == 8 || i == 13 || i == 18 || i == 23:
			if c != '-' {
				return false
			}
		case (c < '0' || c > '9') && (c < 'a' || c > 'f'):
			return false
		}
	}
	return s[14] == '7' && (s[19] == '8' || s[19] == '9' || s[19] == 'a' || s[19] == 'b')
}

func validName(s string) bool {
	return s != "" && len(s) <= 200 && strings.TrimSpace(s) == s && strings.IndexFunc(s, unicode.IsControl) < 0
}

// checkEntry checks everything about an entry that needs no other entry, but for signatures. p is its typed payload.
func checkEntry(e *Entry, p any) error {
	b := &e.Body
	var f faults
	if b.V != Version {
		f.add("v", "is %d; this version knows %d", b.V, Version)
	}
	if !ValidID(b.ID) {
		f.add("id", "%q is not a UUIDv7", b.ID)
	}
	f.time("happened_at", b.HappenedAt)
	f.time("recorded_at", e.RecordedAt)
	f.id("zone", b.Zone)
	f.id("actor", b.Actor)
	k, _ := KindOf(b.Type)
	if k.About == AboutNobody {
		if b.Subject != "" {
			f.add("subject", "must be absent")
		}
	} else {
		f.id("subject", b.Subject)
	}
	if b.Site != "" {
		f.id("site", b.Site)
	}
	if k.Corrects != (b.Corrects != "") {
		f.add("corrects", "must be there in corrections, and only there")
	}
	if b.Corrects != "" && !ValidID(b.Corrects) {
		f.add("corrects", "%q is not a UUIDv7", b.Corrects)
	}
	for i, s := range e.Signatures {
		s.check(&f, fmt.Sprintf("signatures/%d/", i))
	}
	if f.what == "" {
		checkRefs(&f, k.of(p), refsOf(p))
	}
	if f.what == "" {
		p.(interface{ check(*faults) }).check(&f)
		if f.what != "" {
			f.field = "payload/" + f.field
		}
	}
	if f.what != "" {
		return &FormatError{Type: b.Type, Field: f.field, What: f.what}
	}
	return nil
}

func checkRefs(f *faults, k Kind, r *Refs) {
	for _, field := range sortedKeys(r.Personal) {
		at := "payload/personal/" + field
		if !k.allowsPersonal(field) {
			f.add(at, "is no personal field of this type")
		}
		f.hash(at, r.Personal[field])
	}
	for _, field := range k.Needed {
		if _, ok := r.Personal[field]; !ok {
			f.add("payload/personal/"+field, "is needed")
		}
	}
	for _, name := range sortedKeys(r.Content) {
		at := "payload/content/" + name
		if !contains(k.Content, name) {
			f.add(at, "is no content of this type")
		}
		f.hash(at, r.Content[name])
	}
	for _, name := range k.Content {
		if _, ok := r.Content[name]; !ok {
			f.add("payload/content/"+name, "is needed")
		}
	}
}

// refsOf is the Refs of a pointer to a payload struct.
func refsOf(p any) *Refs {
	return reflect.ValueOf(p).Elem().FieldByName("Refs").Addr().Interface().(*Refs)
}

// Refs returns what the payload names.
func (p *Parsed) Refs() Refs { return *refsOf(p.Payload) }

func (p *OpeningPayload) check(f *faults) {
	f.id("origin", p.Origin)
	if strings.ContainsAny(p.Origin, "+ ") {
		f.add("origin", "%q holds a space or a plus sign", p.Origin)
	}
	f.id("title", p.Title)
	p.Key.check(f, "key/")
	if p.Key.Alg != AlgEd25519 {
		f.add("key/alg", "the first key is locked by a passphrase: %s", AlgEd25519)
	}
}

func (p *ProgrammePayload) check(*faults)  {}
func (p *ParametersPayload) check(*faults) {}
func (p *PersonPayload) check(f *faults) {
	if len(p.Personal) == 0 {
		f.add("personal", "name or login is needed")
	}
}
func (p *PasswordPayload) check(*faults) {}

func (p *ErasurePayload) check(f *faults) {
	if p.KeptUntil != "" {
		f.date("kept_until", p.KeptUntil)
	}
}

func (p *ErasureReplayedPayload) check(f *faults) {
	if _, _, err := p.Leaves(); err != nil {
		f.add("erasure", "holds a leaf that is not base64")
	}
}

func (p *PutBackPayload) check(f *faults) {
	f.count("entries", int(p.Entries))
	f.count("known_size", int(p.KnownSize))
	if raw, err := base64.StdEncoding.Strict().DecodeString(p.KnownRoot); err != nil || len(raw) != 32 {
		f.add("known_root", "is not 32 bytes as base64")
	}
}

func (p *SitePayload) check(f *faults) {
	f.id("site", p.Site)
	f.id("name", p.Name)
	f.id("zone", p.Zone)
}

func (p *CohortPayload) check(f *faults) {
	f.id("cohort", p.Cohort)
	f.id("name", p.Name)
	f.id("site", p.Site)
}

func (p *MembershipPayload) check(f *faults) {
	f.id("cohort", p.Cohort)
	f.date("date", p.Date)
}

func (p *RolePayload) check(f *faults) {
	f.oneOf("role", p.Role, Roles)
	f.span("from", p.From, "until", p.Until)
	if p.Site != "" {
		f.id("site", p.Site)
	}
	if p.Author && p.Role == "apprentice" {
		f.add("author", "is for supervisors and coordinators")
	}
}

func (p *EndPayload) check(f *faults) {
	f.id("ends", p.Ends)
	f.date("date", p.Date)
}

func (p *AppointmentPayload) check(f *faults) {
	f.id("task", p.Task)
	if p.Site != "" {
		f.id("site", p.Site)
	}
	f.span("from", p.From, "until", p.Until)
}

func (p *KeyAddedPayload) check(f *faults) { p.Key.check(f, "key/") }

func (p *KeyEndedPayload) check(f *faults) {
	f.id("key", p.Key)
	f.oneOf("why", p.Why, KeyEnds)
	f.time("from", p.From)
}

func (p *AgreementPayload) check(f *faults) { f.span("from", p.From, "until", p.Until) }

func (p *LeavePayload) check(f *faults) {
	f.date("to", p.To)
	f.span("from", p.From, "to", p.To)
}

func (p *ReadingPayload) check(f *faults) {
	f.id("lesson", p.Lesson)
	f.hash("edition", p.Edition)
	if p.Since != "" {
		f.hash("since", p.Since)
	}
}

func (p *TestIssuedPayload) check(f *faults) {
	f.id("task", p.Task)
	f.id("blueprint", p.Blueprint)
	if p.Seed != "" && (len(p.Seed) > 20 || strings.Trim(p.Seed, "0123456789") != "" || p.Seed[0] == '0' && p.Seed != "0" ||
		len(p.Seed) == 20 && p.Seed > "18446744073709551615") {
		f.add("seed", "%q is not a decimal number of 64 bits", p.Seed)
	}
	if p.Number < 1 {
		f.add("number", "%d is below 1", p.Number)
	}
	if p.Vehicle != "" {
		f.id("vehicle", p.Vehicle)
	}
}

func (p *TestHandedInPayload) check(f *faults) {
	f.id("test", p.Test)
	f.id("task", p.Task)
	f.hash("programme", p.Programme)
	f.count("points", p.Points)
	if p.Max < p.Points {
		f.add("max", "%d is below points", p.Max)
	}
	if p.Percent < 0 || p.Percent > 100 {
		f.add("percent", "%d is not from 0 to 100", p.Percent)
	}
	if p.WatchedBy != "" {
		f.id("watched_by", p.WatchedBy)
	}
	if p.Questions == nil {
		f.add("questions", "must be a list")
	}
	f.count("voids", p.Voids)
	for i, q := range p.Questions {
		f.id(fmt.Sprintf("questions/%d/question", i), q.Question)
		f.id(fmt.Sprintf("questions/%d/task", i), q.Task)
	}
}

func (p *ShopNotePayload) check(f *faults) {
	f.id("lesson", p.Lesson)
	f.id("step", p.Step)
	_, words := p.Personal["note"]
	switch {
	case p.Removes != "":
		f.id("removes", p.Removes)
		if words {
			f.add("note", "stands beside removes")
		}
	case !words:
		f.add("note", "is missing")
	}
}

func (p *QuestionVoidedPayload) check(f *faults) {
	f.id("question", p.Question)
	f.id("lesson", p.Lesson)
	if p.Edition != "" {
		f.hash("edition", p.Edition)
	}
	f.count("tests", p.Tests)
	if p.Remarked == nil {
		f.add("remarked", "must be a list")
	}
	seen := map[string]bool{}
	for i, r := range p.Remarked {
		at := fmt.Sprintf("remarked/%d/", i)
		f.id(at+"test", r.Test)
		f.id(at+"apprentice", r.Apprentice)
		if seen[r.Test] {
			f.add(at+"test", "is there twice")
		}
		seen[r.Test] = true
		f.count(at+"points", r.Points)
		if r.Max < r.Points {
			f.add(at+"max", "%d is below points", r.Max)
		}
		if r.Percent < 0 || r.Percent > 100 {
			f.add(at+"percent", "%d is not from 0 to 100", r.Percent)
		}
		if r.Questions == nil {
			f.add(at+"questions", "must be a list")
		}
		for k, q := range r.Questions {
			f.id(fmt.Sprintf("%squestions/%d/question", at, k), q.Question)
			f.id(fmt.Sprintf("%squestions/%d/task", at, k), q.Task)
		}
	}
}

// kept: whoever keeps a clearance after what speaks against it says why.
func kept(f *faults, is, against bool, r Refs) {
	switch {
	case is && !against:
		f.add("kept", "belongs to what speaks against a clearance")
	case is && r.Personal["reason"] == "":
		f.add("personal/reason", "is needed where the clearance is kept")
	}
}

func (p *SignOffPayload) check(f *faults) {
	p.checkRecord(f)
	kept(f, p.Kept, p.hasCriticalError(), p.Refs)
}

func (p *SignOffPayload) hasCriticalError() bool {
	return slices.ContainsFunc(p.Steps, func(s StepDone) bool { return s.CriticalError })
}

// checkRecord is check for a record that may stand inside a correction, beside the correction's own reason.
func (p *SignOffPayload) checkRecord(f *faults) {
	f.id("job", p.Job)
	f.id("task", p.Task)
	f.hash("programme", p.Programme)
	f.oneOf("difficulty", p.Difficulty, Difficulties)
	f.oneOf("setting", p.Setting, Settings)
	f.oneOf("outcome", p.Outcome, Outcomes)
	f.time("started", p.Started)
	if p.Finished < p.Started {
		f.add("finished", "is before started")
	}
	if len(p.Supervisors) == 0 {
		f.add("supervisors", "is empty")
	}
	seen := map[string]bool{}
	for i, s := range p.Supervisors {
		f.id(fmt.Sprintf("supervisors/%d", i), s)
		if seen[s] {
			f.add(fmt.Sprintf("supervisors/%d", i), "is there twice")
		}
		seen[s] = true
	}
	if p.Steps == nil {
		f.add("steps", "must be a list")
	}
	steps := map[string]bool{}
	for i, s := range p.Steps {
		at := fmt.Sprintf("steps/%d/", i)
		f.id(at+"step", s.Step)
		if steps[s.Step] {
			f.add(at+"step", "%q is there twice", s.Step)
		}
		steps[s.Step] = true
		f.oneOf(at+"result", s.Result, StepResults)
		if s.CriticalError && (s.Result == "not_reached" || s.Result == "not_applicable") {
			f.add(at+"critical_error", "is not possible with %s", s.Result)
		}
		f.time(at+"at", s.At)
		if s.SteppedIn != "" {
			f.oneOf(at+"stepped_in", s.SteppedIn, SteppedIns)
			if !s.CriticalError {
				f.add(at+"stepped_in", "belongs to a critical error")
			}
		}
	}
	for i, r := range p.Readings {
		at := fmt.Sprintf("readings/%d/", i)
		f.id(at+"step", r.Step)
		if r.Measure < 1 {
			f.add(at+"measure", "%d is below 1", r.Measure)
		}
		f.id(at+"value", r.Value)
		for k, v := range r.Values {
			f.id(fmt.Sprintf("%svalues/%d", at, k), v)
		}
		if r.Calibrated != "" {
			f.date(at+"calibrated", r.Calibrated)
		}
	}
	for i, h := range p.Holds {
		at := fmt.Sprintf("holds/%d/", i)
		f.id(at+"step", h.Step)
		f.id(at+"by", h.By)
		f.time(at+"at", h.At)
	}
	f.count("number", p.Number)
	last := p.Started
	for i, x := range p.Pauses {
		at := fmt.Sprintf("pauses/%d/", i)
		if x.From < last {
			f.add(at+"from", "is before the job began or an earlier pause ended")
		}
		if x.To < x.From || x.To > p.Finished {
			f.add(at+"to", "is before the pause began or after the job ended")
		}
		last = x.To
	}
	for i, o := range p.Oral {
		at := fmt.Sprintf("oral/%d/", i)
		f.id(at+"question", o.Question)
		if o.Text == "" {
			f.add(at+"text", "is empty")
		}
		f.id(at+"by", o.By)
		f.time(at+"at", o.At)
	}
	photos := map[string]bool{}
	for i, x := range p.Photos {
		at := fmt.Sprintf("photos/%d/", i)
		if n, found := strings.CutPrefix(x.Field, "photo/"); !found || n == "" || photos[x.Field] {
			f.add(at+"field", "%q is not the name of a photograph of its own", x.Field)
		}
		photos[x.Field] = true
		if x.Entry != "" && !ValidID(x.Entry) {
			f.add(at+"entry", "%q is not a UUIDv7", x.Entry)
		}
		if x.Step != "" {
			f.id(at+"step", x.Step)
		}
		if x.Width < 1 || x.Height < 1 {
			f.add(at+"width", "is no size")
		}
		f.id(at+"by", x.By)
		f.time(at+"at", x.At)
	}
}

func (p *UnwatchedJobPayload) check(f *faults) {
	f.id("task", p.Task)
	f.date("date", p.Date)
	if p.Vehicle != "" {
		f.id("vehicle", p.Vehicle)
	}
}

func (p *SpotCheckPayload) check(f *faults) {
	f.id("task", p.Task)
	f.oneOf("finding", p.Finding, CheckFinding)
	if p.Of != "" {
		f.id("of", p.Of)
	}
	kept(f, p.Kept, p.Finding == "unsafe", p.Refs)
}

func (p *CaseOpenedPayload) check(f *faults) {
	f.id("task", p.Task)
	if p.Jobs == nil {
		f.add("jobs", "must be a list")
	}
	for i, j := range p.Jobs {
		f.id(fmt.Sprintf("jobs/%d", i), j)
	}
	if len(p.People) == 0 {
		f.add("people", "is empty")
	}
	for i, x := range p.People {
		f.id(fmt.Sprintf("people/%d", i), x)
	}
}

func (p *ReturnPayload) check(f *faults) {
	f.id("task", p.Task)
	f.oneOf("finding", p.Finding, Findings)
	if p.Case != "" {
		f.id("case", p.Case)
	}
	kept(f, p.Kept, p.Finding == "our_work", p.Refs)
}

func (p *ClearancePayload) check(f *faults) {
	f.id("task", p.Task)
	f.hash("programme", p.Programme)
	f.id("program", p.Program)
	for i, l := range p.Layouts {
		f.id(fmt.Sprintf("layouts/%d", i), l)
	}
	for i, h := range p.Holds {
		f.id(fmt.Sprintf("holds/%d", i), h)
	}
	if p.Until != "" {
		f.date("until", p.Until)
	}
	if p.Waiver == nil {
		return
	}
	if p.Waiver.Gates == nil {
		f.add("waiver/gates", "must be a list")
	}
	for i, g := range p.Waiver.Gates {
		f.id(fmt.Sprintf("waiver/gates/%d", i), g)
	}
	if p.Waiver.Until != "" {
		f.date("waiver/until", p.Waiver.Until)
	}
	if len(p.Waiver.Gates) > 0 && p.Waiver.Until == "" {
		f.add("waiver/until", "is needed where gates are set aside")
	}
	if _, ok := p.Personal["reason"]; !ok {
		f.add("personal/reason", "is needed with a waiver")
	}
}

func (p *StandDownPayload) check(f *faults) {
	if p.Task != "" {
		f.id("task", p.Task)
	}
	needReason(f, p.Refs)
}

func (p *StandDownSignedPayload) check(f *faults) { f.id("stand_down", p.StandDown) }

func (p *RestorePayload) check(f *faults) {
	if p.Task != "" {
		f.id("task", p.Task)
	}
	needReason(f, p.Refs)
}

func (p *RecognitionPayload) check(f *faults) {
	f.id("task", p.Task)
	if p.StandsFor == nil {
		f.add("stands_for", "must be a list")
	}
	for i, g := range p.StandsFor {
		f.id(fmt.Sprintf("stands_for/%d", i), g)
	}
	f.count("jobs", p.Jobs)
	needReason(f, p.Refs)
}

func (p *CorrectionPayload) check(f *faults) {
	needReason(f, p.Refs)
	if p.Withdraw == (p.SignOff != nil) {
		f.add("withdraw", "either withdraws or gives a new sign_off")
	}
	if p.SignOff != nil {
		if p.SignOff.Personal != nil || p.SignOff.Content != nil {
			f.add("sign_off/personal", "personal fields of the new record stand in the correction itself")
		}
		p.SignOff.checkRecord(f)
		kept(f, p.SignOff.Kept, p.SignOff.hasCriticalError(), p.Refs)
	} else {
		for field := range p.Personal {
			if field != "reason" {
				f.add("personal/"+field, "belongs to a new record")
			}
		}
	}
}

func (p *DisputePayload) check(f *faults) {
	f.id("disputes", p.Disputes)
	needReason(f, p.Refs)
}

func (p *SettlementPayload) check(f *faults) {
	f.id("disputes", p.Disputes)
	if p.Stands != "" {
		f.id("stands", p.Stands)
		if p.Upheld {
			f.add("stands", "must be absent where nothing of the entry counts any more")
		}
	}
	needReason(f, p.Refs)
}

func (p *CountersignedPayload) check(f *faults) { f.id("entry", p.Entry) }

func (p *ReplyPayload) check(f *faults) { f.id("entry", p.Entry) }

func (p *StandDownReviewPayload) check(f *faults) {
	f.id("stand_down", p.StandDown)
	needReason(f, p.Refs)
}

func (p *AssignedPayload) check(f *faults) {
	f.id("matter", p.Matter)
	f.id("to", p.To)
}

func needReason(f *faults, r Refs) {
	if _, ok := r.Personal["reason"]; !ok {
		f.add("personal/reason", "is needed")
	}
}
