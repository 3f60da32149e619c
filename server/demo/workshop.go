package demo

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"time"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// What happens in the workshop besides the plans: customers' cars, a job rightly stopped, a hold point sent back, a spot
// check, cars that come back. Days are workdays of the last weeks.

const (
	plateWatched = "152-D-40718" // an invented plate
	plateAlone   = "WO 3381"
)

// workshop does what the day brings.
func (b *builder) workshop(d int) error {
	for _, x := range []struct {
		before int // days before the last
		do     func() error
	}{
		{21, func() error {
			return b.customersCar("freya", caliper, 0, plateWatched, "Silver estate, rear discs", "finished")
		}},
		{17, func() error {
			return b.customersCar("caspar", caliper, 1, "WO 3364", "White van, long wheelbase", "rightly_stopped")
		}},
		{13, func() error { return b.aloneOnPlate("bryony", caliper, plateAlone) }},
		{10, func() error { return b.spotCheck("bryony", caliper) }},
		{7, func() error { return b.comesBack(plateAlone, "It pulls to the left under braking.") }},
		{5, b.closeFirstCase},
		{3, func() error { return b.comesBack(plateWatched, "A squeal at slow stops, since the second day.") }},
	} {
		if d != b.workday(days-x.before) {
			continue
		}
		if err := x.do(); err != nil {
			return err
		}
	}
	return nil
}

// described is a customer's car like one of the sheets, with its limits as read from the maker's information.
func (b *builder) described(task, title string) curriculum.Car {
	v := b.prog.Vehicles[0]
	c := curriculum.Car{Title: title, Layout: v.Layout, Features: v.Features, Orders: v.Orders}
	for _, w := range v.Wheels {
		c.Wheels = append(c.Wheels, curriculum.CarWheel(w))
	}
	for _, n := range b.prog.Needed(b.prog.Task(task).Lessons, c) {
		f, ok := v.Figure(n.Key, "")
		if !ok {
			continue
		}
		n.Value, n.High, n.Unit, n.Source = f.Value, f.High, f.Unit, "maker’s service information, section 46"
		c.Figures = append(c.Figures, n)
	}
	return c
}

// customersCar is a watched job on a car described on the spot, with all that a sheet can hold.
func (b *builder) customersCar(login, task string, by int, plate, title, outcome string) error {
	sup, err := b.person(supervisors[by].login)
	if err != nil {
		return err
	}
	p, err := b.person(login)
	if err != nil {
		return err
	}
	b.clock.add(3 * time.Minute)
	car := b.described(task, title)
	j, err := b.acts.AskJob(b.ctx, sup, acts.JobRequest{Apprentice: p.ID, Task: task, Car: &car, WorkOrder: plate, Bay: "2", Watch: true})
	if err != nil {
		return err
	}
	s := &session{job: j, by: &supervisors[by], from: b.clock.now(), way: &way{plan: &plan{task: task}}}
	b.clock.add(55 * time.Minute)
	sheet, err := b.acts.Job(b.ctx, sup, j.ID)
	if err != nil {
		return err
	}
	taps, ended, err := b.taps(sheet, s, false, outcome == "finished")
	if err != nil {
		return err
	}
	var out []store.Tap
	sent, yes := false, true
	for _, t := range taps {
		if t.Reading != nil {
			t.Reading.Instrument, t.Reading.Calibrated = "gauge set 4", b.date(days-90)
		}
		if t.Hold != "" && !sent { // the first hold point is sent back once
			sent = true
			back, err := b.newTap(s.from.Add(4 * time.Minute))
			if err != nil {
				return err
			}
			back.Step, back.Hold, back.Reason = t.Step, "sent_back", "A rag still hung in the wheel arch."
			out = append(out, back)
		}
		out = append(out, t)
	}
	if outcome != "finished" {
		out = out[:len(out)/2]
	}
	own, err := b.newTap(ended)
	if err != nil {
		return err
	}
	own.Step, own.OwnError, own.WhatHappened = sheet.Lessons[0].Steps[1].Key, &yes, "Picked up the left-hand part, saw it and changed it."
	parts, err := b.newTap(ended)
	if err != nil {
		return err
	}
	fitted, fluid := "Caliper, overhauled, tag 118", "DOT 4, tin opened the same day"
	parts.Parts, parts.Fluid = &fitted, &fluid
	out = append(out, own, parts)
	qs, err := b.acts.OralQuestions(b.ctx, sup, j.ID, 1)
	if err != nil {
		return err
	}
	for i := range qs[:min(2, len(qs))] {
		t, err := b.newTap(ended)
		if err != nil {
			return err
		}
		t.Oral = &store.TapOral{Question: qs[i].ID, Number: 1, Satisfactory: i == 0}
		out = append(out, t)
	}
	done, err := b.newTap(ended)
	if err != nil {
		return err
	}
	done.Outcome, done.Difficulty = outcome, "awkward"
	if outcome == "rightly_stopped" {
		done.Note = "The slide pin was seized and the bracket cracked. Stopped, tagged and told the foreman: right."
	}
	if s.by.bulk && outcome == "finished" {
		if _, err := b.acts.Tap(b.ctx, sup, j.ID, out); err != nil {
			return err
		}
		out = nil
		id, err := ledger.NewID(b.random, b.clock.now().UnixMilli())
		if err != nil {
			return err
		}
		if _, err := b.acts.RestUnaided(b.ctx, sup, j.ID, id); err != nil {
			return err
		}
	}
	picture, err := drawing()
	if err != nil {
		return err
	}
	id, err := ledger.NewID(b.random, b.clock.now().UnixMilli())
	if err != nil {
		return err
	}
	if _, err := b.acts.AddPhoto(b.ctx, sup, j.ID, id, "", picture); err != nil {
		return err
	}
	if _, err := b.acts.Tap(b.ctx, sup, j.ID, append(out, done)); err != nil {
		return err
	}
	b.clock.add(3 * time.Minute)
	_, err = b.acts.SignJobs(b.ctx, sup, nil, []string{j.ID}, b.who[s.by.login].Passphrase, nil)
	return err
}

// drawing is a picture in the place of a photograph: a disc with its caliper.
func drawing() ([]byte, error) {
	const w, h = 640, 480
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			dx, dy := x-300, y-240
			r := dx*dx + dy*dy
			c := color.RGBA{70, 76, 82, 255}
			switch {
			case x > 400 && x < 520 && y > 120 && y < 360:
				c = color.RGBA{150, 60, 40, 255}
			case r < 50*50:
				c = color.RGBA{40, 42, 46, 255}
			case r < 180*180:
				c = color.RGBA{168, 172, 176, 255}
			}
			m.Set(x, y, c)
		}
	}
	var b bytes.Buffer
	err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 80})
	return b.Bytes(), err
}

func (b *builder) aloneOnPlate(login, task, plate string) error {
	p, err := b.person(login)
	if err != nil {
		return err
	}
	_, err = b.acts.UnwatchedJob(b.ctx, p, acts.UnwatchedRequest{Task: task, Date: b.clock.now().In(b.loc).Format(time.DateOnly), Car: "Blue hatchback, drum rear", WorkOrder: plate,
		Parts: "Caliper, new, tag 121", Fluid: "DOT 4", Notes: "Road test without a finding."})
	return err
}

func (b *builder) spotCheck(login, task string) error {
	sup, err := b.person(supervisors[1].login)
	if err != nil {
		return err
	}
	_, err = b.acts.SpotCheck(b.ctx, sup, acts.SpotCheckRequest{Apprentice: b.who[login].ID, Task: task, Finding: "flaw", Car: "Green saloon", WorkOrder: "WO 3377",
		Notes: "A dust cap was missing from one bleeder. Put on; talked through.", Passphrase: b.who[supervisors[1].login].Passphrase})
	return err
}

// comesBack opens a case on the work that is known by a plate or work order.
func (b *builder) comesBack(plate, complaint string) error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	found, err := b.acts.FindWork(b.ctx, boss, plate)
	if err != nil {
		return err
	}
	if len(found) != 1 {
		return fmt.Errorf("%d jobs are known by %s", len(found), plate)
	}
	_, err = b.acts.OpenCase(b.ctx, boss, acts.CaseRequest{Jobs: []string{found[0].Entry.Body.ID}, Complaint: complaint})
	return err
}

func (b *builder) closeFirstCase() error {
	sup, err := b.person(supervisors[0].login)
	if err != nil {
		return err
	}
	open, err := b.acts.Cases(b.ctx, sup, true)
	if err != nil || len(open) == 0 {
		return err
	}
	_, err = b.acts.CloseCase(b.ctx, sup, acts.FindingRequest{Case: open[len(open)-1].Case.Entry, Finding: "part", What: "The new hose had a fold from the maker and held pressure on one side. Changed; the maker was told.",
		Passphrase: b.who[supervisors[0].login].Passphrase})
	return err
}
