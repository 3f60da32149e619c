package server

import (
	"encoding/json"

	"brakewright/curriculum"
	"brakewright/store"
	"brakewright/store/ledger"
)

// carTitle names the car of a job.
func carTitle(p *curriculum.Programme, j *store.Job) string {
	if j.Vehicle != "" {
		if v := p.Vehicle(j.Vehicle); v != nil {
			return v.Title
		}
		return j.Vehicle
	}
	var c curriculum.Car
	if len(j.Car) > 0 && json.Unmarshal(j.Car, &c) == nil {
		return c.Title
	}
	return ""
}

// payloadOf is an entry's payload as its struct; nil if this version does not know the type.
func payloadOf(e *store.EntryView) any {
	k, ok := ledger.KindOf(e.Entry.Body.Type)
	if !ok {
		return nil
	}
	p := k.New()
	if json.Unmarshal(e.Entry.Body.Payload, p) != nil {
		return nil
	}
	return p
}

// carName is the title of a car kept as JSON.
func carName(car string) string {
	var c curriculum.Car
	if json.Unmarshal([]byte(car), &c) != nil {
		return ""
	}
	return c.Title
}
