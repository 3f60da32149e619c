package readiness

import (
	"encoding/json"
	"slices"
)

// decision is what people decided about an apprentice and a task, and what time has done to it since. Standings, row by
// row (DEVELOPERS.md, "Contracts"); each row has a test of its name:
//
//	untried                      nothing was begun (see tried), nobody decided anything
//	building                     something was begun, and it is not ready
//	ready_for_decision           ready is true, and nobody has ever cleared
//	cleared                      the latest clearance runs: today is not after its until, and no stretch of more than
//	                             lapse_days (leave not counted) without a job of the task, watched, unwatched or
//	                             spot-checked, lies between the clearance and today
//	lapsed                       there was a clearance, and it does not run any more. Only a new clearance changes that; ready
//	                             says whether one could be given
//	stood_down                   a stand-down of the task or of all tasks that nobody else has lifted, whatever else there is
//
// A clearance in the evidence is a signed decision: whether it could be given was for those who signed it, so it clears
// an apprentice who is not ready, too. A later clearance takes the place of an earlier one.
//
// A restore lifts the stand-downs ordered by others before its date; if there are none, those of its own date, unless
// they are more than the restores of that date. It never lifts what the same person ordered. Then the evidence gives what
// it would have given without the stand-down.
type decision struct {
	standing  Standing // Cleared, Lapsed, StoodDown, or "" if it rests on the evidence alone
	clearance *Record  // the latest, nil if there is none
	lapsesOn  day      // the first day on which the clearance no longer runs (it may be past); 0 without a clearance
	down      []*Record
}

func (in *inputs) decided() decision {
	d := decision{clearance: latestClearance(in.history().clearances), down: in.openStandDowns()}
	if d.clearance != nil {
		d.lapsesOn = in.lapsesOn(d.clearance)
		d.standing = Cleared
		if in.today >= d.lapsesOn {
			d.standing = Lapsed
		}
	}
	if len(d.down) > 0 {
		d.standing = StoodDown
	}
	return d
}

// standingOf puts the evidence under what people decided.
func (in *inputs) standingOf(d decision, ready bool) Standing {
	switch {
	case d.standing != "":
		return d.standing
	case !in.person.tried(in.facts):
		return Untried
	case ready:
		return ReadyForDecision
	}
	return Building
}

// latestClearance is the clearance that counts: the latest, of one day the one that ends first.
func latestClearance(clearances []*Record) *Record {
	var latest *Record
	for _, c := range clearances {
		switch {
		case latest == nil || c.Date > latest.Date:
			latest = c
		case c.Date == latest.Date && endsSooner(c, latest):
			latest = c
		}
	}
	return latest
}

func endsSooner(a, b *Record) bool {
	if a.Until == b.Until {
		return a.Waiver && !b.Waiver
	}
	return b.Until == "" || a.Until != "" && a.Until < b.Until
}

// lapsesOn is the first day on which a clearance no longer runs.
func (in *inputs) lapsesOn(clearance *Record) day {
	t := in.history()
	var acts []day
	for _, recs := range [][]*Record{t.jobs, t.unwatched, t.spotChecks} {
		for _, rec := range recs {
			acts = append(acts, toDay(rec.Date))
		}
	}
	slices.Sort(acts)
	runs := in.person.lastDay(toDay(clearance.Date), in.asks.LapseDays)
	for _, act := range acts {
		if act > runs {
			break
		}
		if act > toDay(clearance.Date) {
			runs = in.person.lastDay(act, in.asks.LapseDays)
		}
	}
	if clearance.Until != "" {
		runs = min(runs, toDay(clearance.Until))
	}
	return runs + 1
}

// openStandDowns are those of the task and of all tasks that nobody has lifted, by date.
func (in *inputs) openStandDowns() []*Record {
	t := in.history()
	return liftStandDowns(slices.Concat(in.person.downs, t.downs), slices.Concat(in.person.restores, t.restores))
}

func liftStandDowns(downs, restores []*Record) []*Record {
	if len(downs) == 0 {
		return nil
	}
	dates := make([]string, 0, len(downs)+len(restores))
	for _, r := range slices.Concat(downs, restores) {
		dates = append(dates, r.Date)
	}
	slices.Sort(dates)
	var standing []*Record
	for _, date := range slices.Compact(dates) {
		restored, ordered := on(date, restores), on(date, downs)
		spare := restored[:0:0] // restores that found nothing older to lift
		var lifted []*Record
		for _, r := range restored {
			found := false
			for _, d := range standing {
				if !samePerson(d, r) {
					lifted, found = append(lifted, d), true
				}
			}
			if !found {
				spare = append(spare, r)
			}
		}
		standing = slices.DeleteFunc(standing, func(d *Record) bool { return slices.Contains(lifted, d) })
		if len(spare) >= len(ordered) {
			ordered = slices.DeleteFunc(ordered, func(d *Record) bool {
				return slices.ContainsFunc(spare, func(r *Record) bool { return !samePerson(d, r) })
			})
		}
		standing = append(standing, ordered...)
	}
	return standing
}

func on(date string, recs []*Record) []*Record {
	var all []*Record
	for _, r := range recs {
		if r.Date == date {
			all = append(all, r)
		}
	}
	return all
}

// samePerson says whether anybody who ordered the stand-down also signed the restore.
func samePerson(down, restore *Record) bool {
	for _, who := range restore.By {
		if slices.Contains(down.By, who) {
			return true
		}
	}
	return false
}

// notes gathers what pages show beside the standing.
func (in *inputs) notes(d decision, standing Standing, confidence float64) Notes {
	t := in.history()
	n := Notes{LastJob: lastDate(t.jobs, t.unwatched, t.spotChecks)}
	if len(d.down) > 0 {
		n.StoodDownOn = d.down[0].Date
		for _, down := range d.down {
			if down.Signed != nil && !*down.Signed {
				n.Warnings = append(n.Warnings, reason("stand_down_unsigned", "date", down.Date))
			}
			if in.person.contested[down] {
				n.Warnings = append(n.Warnings, reason("stand_down_disputed", "date", down.Date))
			}
		}
	}
	if c := d.clearance; c != nil && in.today < d.lapsesOn {
		n.ClearedSince, n.ClearedUntil, n.Waived = c.Date, c.Until, c.Waiver
		n.LapsesOn = d.lapsesOn.String()
		if len(c.Limits) > 0 {
			if err := json.Unmarshal(c.Limits, &n.Limits); err != nil {
				n.Limits = nil // not an object: no limits that a page could show
			}
		}
		if in.person.contested[c] {
			n.Warnings = append(n.Warnings, reason("clearance_disputed", "date", c.Date))
		}
		// Whoever signs a critical failure decides then and there: keeps the clearance, or stands down, and then a restore
		// is the decision. Only what nobody decided on warns.
		restored := lastDate(in.person.restores, t.restores)
		for _, f := range slices.Backward(in.facts.failures(t)) {
			if f.date >= c.Date && !f.kept && f.date > restored {
				n.Warnings = append(n.Warnings, reason("critical_error_after_clearance", "date", f.date))
				break
			}
		}
		for _, job := range t.jobs {
			if job.NearMiss && job.Date >= c.Date {
				n.Warnings = append(n.Warnings, reason("near_miss_after_clearance", "date", job.Date))
			}
		}
		if standing == Cleared && !c.Waiver && confidence < *in.asks.Confidence {
			n.Warnings = append(n.Warnings, reason("confidence_fallen", "confidence", percent(confidence), "asked", percent(*in.asks.Confidence)))
		}
	}
	for _, rec := range t.disputed {
		n.Warnings = append(n.Warnings, reason("disputed", "type", rec.Type, "date", rec.Date, "record", rec.ID))
	}
	return n
}

func reason(code string, pairs ...string) Reason {
	return Reason{Code: code, Args: arguments(pairs...)}
}
