package store

import (
	"encoding/base64"
	"fmt"

	"brakewright/store/ledger"
)

// projectionVersion says what the projection tables hold. Raise it when the code below or in project_*.go changes what
// it writes: Open then makes them anew.
const projectionVersion = "3"

// projectionTables are all tables that follow from the ledger alone, with the columns of their key. Rebuild empties and
// fills exactly these, and Verify compares them row by row.
var projectionTables = []struct{ name, key string }{
	{"entry_index", "idx"},
	{"founding", "entry_id"},
	{"people", "id"},
	{"roles", "entry_id"},
	{"appointments", "entry_id"},
	{"sites", "id"},
	{"cohorts", "id"},
	{"memberships", "entry_id"},
	{"agreements", "entry_id"},
	{"leaves", "entry_id"},
	{"signing_keys", "id"},
	{"superseded", "hash"},
	{"adoptions", "entry_id"},
	{"parameters", "entry_id"},
	{"tests", "id"},
	{"voids", "entry_id"},
	{"remarks", "test_id"},
	{"evidence", "idx, part"},
	{"signed_jobs", "job_id"},
	{"stand_downs", "entry_id"},
	{"restores", "entry_id"},
	{"disputes", "entry_id, disputed"},
	{"corrections", "entry_id"},
	{"signed_entries", "key_id, idx"},
	{"words_on", "named, idx"},
	{"assignments", "matter"},
	{"cases", "entry_id"},
	{"case_people", "entry_id, person_id"},
}

// projection is one entry on its way into the projection tables.
type projection struct {
	*ledger.Parsed
	t       *tx
	content func(hash string) ([]byte, error)
	index   int64
	body    *ledger.Body
}

// project writes what follows from an entry that the rules have passed. content reads what entries name by hash.
func project(t *tx, content func(string) ([]byte, error), index int64, e *ledger.Parsed, leaf []byte) error {
	p := &projection{Parsed: e, t: t, content: content, index: index, body: &e.Body}
	if err := p.entryIndex(leaf); err != nil {
		return err
	}
	if err := p.wordsOn(); err != nil {
		return err
	}
	var err error
	switch x := e.Payload.(type) {
	case *ledger.OpeningPayload:
		err = p.opening(x)
	case *ledger.ProgrammePayload:
		err = p.programme(x)
	case *ledger.ParametersPayload:
		err = p.parameters(x)
	case *ledger.SitePayload:
		err = p.site(x)
	case *ledger.CohortPayload:
		err = p.cohort(x)
	case *ledger.MembershipPayload:
		err = p.membership(x)
	case *ledger.PersonPayload:
		err = p.person(x)
	case *ledger.RolePayload:
		err = p.role(x)
	case *ledger.EndPayload:
		err = p.end(x)
	case *ledger.AppointmentPayload:
		err = p.appointment(x)
	case *ledger.KeyAddedPayload:
		err = p.key(x.Key, x.Content["sealed_key"])
	case *ledger.KeyEndedPayload:
		err = p.keyEnd(x)
	case *ledger.PasswordPayload:
		err = p.password(x)
	case *ledger.AgreementPayload:
		err = p.agreement(x)
	case *ledger.LeavePayload:
		err = p.leave(x)
	case *ledger.ReadingPayload:
		err = p.reading(x)
	case *ledger.TestIssuedPayload:
		err = p.testIssued(x)
	case *ledger.TestHandedInPayload:
		err = p.testHandedIn(x)
	case *ledger.ShopNotePayload:
		// The entry index says all that pages ask.
	case *ledger.QuestionVoidedPayload:
		err = p.questionVoided(x)
	case *ledger.SignOffPayload:
		err = p.signOff(x)
	case *ledger.UnwatchedJobPayload:
		err = p.unwatchedJob(x)
	case *ledger.SpotCheckPayload:
		err = p.spotCheck(x)
	case *ledger.CaseOpenedPayload:
		err = p.caseOpened(x)
	case *ledger.ReturnPayload:
		err = p.returned(x)
	case *ledger.ClearancePayload:
		err = p.clearance(x)
	case *ledger.StandDownPayload:
		err = p.standDown(x)
	case *ledger.StandDownSignedPayload:
		err = p.standDownSigned(x)
	case *ledger.RestorePayload:
		err = p.restore(x)
	case *ledger.RecognitionPayload:
		err = p.recognition(x)
	case *ledger.CorrectionPayload:
		err = p.correction(x)
	case *ledger.DisputePayload:
		err = p.dispute(x)
	case *ledger.SettlementPayload:
		err = p.settlement(x)
	case *ledger.CountersignedPayload, *ledger.ReplyPayload, *ledger.StandDownReviewPayload: // words_on says all
	case *ledger.AssignedPayload:
		err = p.assigned(x)
	case *ledger.ErasurePayload, *ledger.ErasureReplayedPayload:
		err = p.erasure()
	case *ledger.PutBackPayload: // the entry itself is all there is of it
	default:
		err = fmt.Errorf("no projection of %s", p.body.Type)
	}
	if err != nil {
		return fmt.Errorf("project entry %d (%s): %w", index, p.body.Type, err)
	}
	return nil
}

func (p *projection) entryIndex(leaf []byte) error {
	task := ledger.TaskOf(p.Payload)
	if named := ledger.Names(p.body, p.Payload); named != "" && task == "" {
		if err := optional(p.t.row(`SELECT task FROM entry_index WHERE id = $1`, named).Scan(&task)); err != nil {
			return err
		}
	}
	return p.run(`
		INSERT INTO entry_index (idx, id, leaf_sha256, type, actor, subject, site, task, corrects, happened_at, recorded_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		p.index, p.body.ID, leafHash(leaf), string(p.body.Type), p.body.Actor, p.body.Subject, p.body.Site, task, p.body.Corrects,
		p.body.HappenedAt, p.RecordedAt)
}

// run changes a projection table.
func (p *projection) run(query string, args ...any) error {
	_, err := p.t.exec(query, args...)
	return err
}

func publicKey(k ledger.KeyPayload) ([]byte, error) { return base64.StdEncoding.DecodeString(k.Public) }
