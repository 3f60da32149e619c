package server

import (
	"bytes"
	"context"
	"net/http"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
)

// A coordinator erases somebody who left long ago, on the pages and over the API; every page that named the person goes on.
func TestPersonIsErased(t *testing.T) {
	w := newAPIWorld(t, "")
	ctx := context.Background()
	pat, pia, coordinator := w.Apprentices[0], w.Apprentices[1], w.Coordinators[0]
	w.Append(w.SignOff(w.Supervisors[0], pat, w.Tasks[0], nil))
	for _, m := range []string{pat.ID, pia.ID} {
		p, err := w.Store.Person(ctx, m)
		if err != nil {
			t.Fatal(err)
		}
		w.Append(w.Make(coordinator.ID, ledger.RoleEnded, m, ledger.EndPayload{Ends: p.Roles[0].Entry, Date: w.Today()}, nil, nil))
		w.Append(w.Make(coordinator.ID, ledger.AgreementEnded, m, ledger.EndPayload{Ends: p.Agreements[0].Entry, Date: w.Today()}, nil, nil))
	}
	c := w.as(coordinator)
	erase := object{"confirm": pat.Login, "passphrase": coordinator.Passphrase}
	if answer := c.must(422, "POST", "/people/"+pat.ID+"/erase", erase); answer["code"] != "erase_kept" && answer["code"] != "erase_role" {
		t.Errorf("%v", answer)
	}
	if list := c.must(200, "GET", "/erasures/due", nil); len(list["people"].([]any)) != 0 {
		t.Errorf("due: %v", list)
	}
	w.Clock.Add((5*365 + 5) * 24 * time.Hour)
	c = w.as(coordinator)
	if list := c.must(200, "GET", "/erasures/due", nil); len(list["people"].([]any)) != 2 {
		t.Errorf("due: %v", list)
	}
	if kinds := c.must(200, "GET", "/erasures/due", nil)["people"].([]any)[0].(object)["kinds"].([]any); len(kinds) < 3 || kinds[0].(object)["due"] != true {
		t.Errorf("kinds: %v", kinds)
	}
	w.as(w.Supervisors[0]).must(403, "POST", "/people/"+pat.ID+"/erase", erase)
	bundle := c.must(200, "GET", "/people/"+pat.ID+"/bundle", nil)
	if bundle["format"] != "brakewright-bundle/1" || bundle["person"] != pat.ID {
		t.Errorf("%v", bundle)
	}
	c.must(201, "POST", "/people/"+pat.ID+"/erase", erase)
	c.must(422, "GET", "/people/"+pat.ID+"/bundle", nil)

	pages := &pageWorld{World: w.World, t: t, server: w.server, site: w.site, log: &bytes.Buffer{}}
	b := pages.as(coordinator)
	file := pages.as(w.Supervisors[1]).get("/record").says(200, "Carry this record away").follow("Save the file")
	if v := store.VerifyBundle([]byte(file.body), w.Options.Keys, nil); !v.OK || file.header.Get("Content-Disposition") == "" {
		t.Errorf("%+v, %v", v, file.header)
	}
	b.get("/people/due").says(200, pia.Name).says(200, "Roles and appointments, kept until").says(200, "The policy’s years").hides(pat.Name).follow(pia.Name).says(200, "What this cannot reach").
		form("confirm").set("confirm", "nobody").set("passphrase", coordinator.Passphrase).press("").says(422, "Type the person's log-in name")
	b.get("/people/"+pia.ID+"/erase").form("confirm").set("confirm", pia.Login).set("passphrase", coordinator.Passphrase).press("").
		says(200, "The person was erased.", "Still to do by hand")
	for _, path := range []string{"/people", "/people/due", "/people/" + pat.ID, "/people/" + pat.ID + "/erase", "/people/" + pat.ID + "/record", "/people/" + pat.ID + "/standing",
		"/board", "/board?left=1", "/ledger", "/questions"} {
		p := b.get(path)
		if p.status != http.StatusOK {
			t.Errorf("%s: %d", path, p.status)
		}
		p.hides(pat.Name).hides(pia.Name)
	}
	b.get("/people/"+pat.ID).says(200, "an erased person", "Everything personal of this person was destroyed")
	if v, err := store.Verify(ctx, w.Options, false, nil); err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}
