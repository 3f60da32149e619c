package readiness

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
	"strconv"
)

// This file turns records as they were written into evidence as it stands on a date.
//
//   - A record dated after the date is not seen; nor is a correction, dispute or settlement, nor a correction of something
//     that is not seen. So what a verdict of an earlier date rested on can still be seen: a correction changes nothing
//     before its own date.
//   - A correction puts a new record in the place of the one it names, or withdraws it. It may name a record or an earlier
//     correction; the latest counts (by date). Withdrawing a correction brings back what it had replaced. A correction
//     cannot itself stand inside a correction.
//   - A disputed record is no evidence until it is settled. A settlement closes the disputes of that record dated before
//     it; if there are none, those of its own date, unless they are more than the settlements of that date: then it was
//     disputed again. Upheld, the record falls for good; otherwise it counts again. A
//     disputed correction works the same way; when it falls, what it had replaced counts again.
//   - What gives or takes rights waits for the settlement: a clearance or a stand-down that is disputed stays in force
//     (with a warning) until the dispute is upheld; a disputed restore does not restore.
//   - A correction, dispute or settlement may itself be corrected. A settlement may name the dispute or the record.

// held is what is known of one apprentice on a date, sorted by content, so that the order of the input says nothing.
type held struct {
	records   []*Record        // evidence and decisions that count
	disputed  []*Record        // sign-offs and the like that are under dispute
	contested map[*Record]bool // of records: clearances and stand-downs that count although they are disputed
}

// resolve returns what is known on a date, by apprentice. Records are shared with the evidence, never changed.
func resolve(evidence []Record, asOf string) map[string]*held {
	r := resolver{asOf: asOf, corrections: map[string][]*Record{}}
	var base []*Record
	var contests []*Record // disputes and settlements
	for i := range evidence {
		rec := &evidence[i]
		switch rec.Type {
		case "correction":
			if rec.Date <= asOf {
				r.corrections[rec.Corrects] = append(r.corrections[rec.Corrects], rec)
			}
		case "dispute", "settlement":
			contests = append(contests, rec)
		default:
			base = append(base, rec)
		}
	}
	r.settle(contests)
	all := map[string]*held{}
	for _, rec := range base {
		r.place(all, rec)
	}
	for _, h := range all {
		slices.SortFunc(h.records, compareContent)
		slices.SortFunc(h.disputed, compareContent)
	}
	return all
}

type resolver struct {
	asOf        string
	corrections map[string][]*Record // by the id they correct
	contests    map[string]contest   // by the id under dispute
}

// contest is how the disputes of one id stand.
type contest struct{ open, fallen bool }

// place puts the version of rec that holds on the date where it belongs.
func (r *resolver) place(all map[string]*held, rec *Record) {
	version, disputed := r.version(rec)
	if version == nil || dateOf(version) > r.asOf {
		return
	}
	h := all[version.Apprentice]
	if h == nil {
		h = &held{contested: map[*Record]bool{}}
		all[version.Apprentice] = h
	}
	switch {
	case !disputed:
		h.records = append(h.records, version)
	case version.Type == "clearance" || version.Type == "stand_down":
		h.records = append(h.records, version)
		h.contested[version] = true
	default:
		h.disputed = append(h.disputed, version)
	}
}

// dateOf is the date from which a record is seen.
func dateOf(rec *Record) string {
	if rec.Type == "leave" {
		return rec.From
	}
	return rec.Date
}

// version returns what stands in the place of a record, nil if nothing does, and whether it is under dispute.
func (r *resolver) version(rec *Record) (*Record, bool) {
	if dateOf(rec) > r.asOf {
		return nil, false // nor is a correction of it seen
	}
	if rec.ID == "" || len(r.corrections) == 0 && len(r.contests) == 0 {
		return rec, false
	}
	own := r.contests[rec.ID]
	if own.fallen {
		return nil, false
	}
	if c := r.latest(rec.ID, 0); c.found {
		if c.record != nil && c.record.ID == "" {
			c.record.ID = rec.ID
		}
		return c.record, own.open || c.disputed
	}
	return rec, own.open
}

// replacement is what the corrections of an id come to.
type replacement struct {
	found    bool
	record   *Record // nil: withdrawn
	disputed bool
	date     string // of the last correction that went into it
	source   *Record
}

// maxChain is how long a chain of corrections of corrections may be; it ends a circle of ids.
const maxChain = 1000

// latest returns what the latest of the corrections of id puts in its place.
func (r *resolver) latest(id string, depth int) replacement {
	best := replacement{}
	if depth > maxChain {
		return best
	}
	for _, c := range r.corrections[id] {
		now := r.effect(c, depth)
		if !now.found {
			continue
		}
		if !best.found || cmp.Or(cmp.Compare(now.date, best.date), compareContent(now.source, best.source)) > 0 {
			best = now
		}
	}
	return best
}

// effect returns what a correction puts in place, if it has not itself fallen or been withdrawn.
func (r *resolver) effect(c *Record, depth int) replacement {
	now := replacement{found: true, date: c.Date, source: c}
	if c.ID != "" {
		own := r.contests[c.ID]
		if own.fallen {
			return replacement{}
		}
		now.disputed = own.open
		if later := r.latest(c.ID, depth+1); later.found {
			if later.record == nil {
				return replacement{} // the correction was withdrawn: as if it had never been made
			}
			later.disputed = later.disputed || own.open
			return later
		}
	}
	if string(bytes.TrimSpace(c.Record)) == "null" || len(c.Record) == 0 {
		return now
	}
	rec, faults := ReadRecord(c.Record)
	if len(faults) > 0 {
		return now // what does not read cannot be evidence: the corrected record goes and nothing comes in its place
	}
	now.record = &rec
	if own := r.contests[rec.ID]; rec.ID != "" {
		if own.fallen {
			return replacement{}
		}
		now.disputed = now.disputed || own.open
	}
	return now
}

// settle works out which ids are under dispute and which have fallen. Corrections of the disputes and settlements
// themselves are applied first; disputes of those corrections are not, or the two would chase each other.
func (r *resolver) settle(contests []*Record) {
	if len(contests) == 0 {
		return
	}
	var live []*Record
	target := map[string]string{} // from the id of a dispute to what it disputes
	for _, rec := range contests {
		version, _ := r.version(rec)
		if version == nil || version.Date > r.asOf || version.Type != "dispute" && version.Type != "settlement" {
			continue
		}
		live = append(live, version)
		if version.Type == "dispute" && version.ID != "" {
			target[version.ID] = version.Disputes
		}
	}
	byID := map[string][]*Record{}
	for _, rec := range live {
		id := rec.Disputes
		if of, ok := target[id]; ok && rec.Type == "settlement" {
			id = of
		}
		byID[id] = append(byID[id], rec)
	}
	outcome := map[string]contest{}
	for id, recs := range byID {
		outcome[id] = judgeContest(recs)
	}
	r.contests = outcome
}

// judgeContest goes through the disputes and settlements of one id by date.
func judgeContest(recs []*Record) contest {
	slices.SortFunc(recs, func(a, b *Record) int { return cmp.Compare(a.Date, b.Date) })
	var now contest
	for i := 0; i < len(recs); {
		j, disputes, settlements := i, 0, 0
		for ; j < len(recs) && recs[j].Date == recs[i].Date; j++ {
			if recs[j].Type == "dispute" {
				disputes++
				continue
			}
			settlements++
			now.fallen = now.fallen || recs[j].Upheld
		}
		if now.open && settlements > 0 {
			now.open = false
			settlements--
		}
		if disputes > settlements {
			now.open = true
		}
		i = j
	}
	return now
}

// compareContent orders records by date and then by everything else they hold, ids last. Two records that compare as 0
// say the same.
func compareContent(a, b *Record) int {
	if c := cmp.Or(cmp.Compare(dateOf(a), dateOf(b)), cmp.Compare(a.Type, b.Type), cmp.Compare(a.Apprentice, b.Apprentice), cmp.Compare(a.Task, b.Task)); c != 0 {
		return c
	}
	return bytes.Compare(content(a), content(b))
}

// content is a record's JSON without its id.
func content(rec *Record) []byte {
	bare := *rec
	bare.ID = ""
	b, err := json.Marshal(bare)
	if err != nil {
		panic("readiness: a record to JSON: " + err.Error())
	}
	return b
}

func decimal(n int) string { return strconv.Itoa(n) }
