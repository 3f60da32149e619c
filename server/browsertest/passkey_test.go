package browsertest

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"brakewright/store"
	"brakewright/store/ledger"
)

// device gives a window a device that makes passkeys; unlocked says whether its owner is recognised.
func (v *visitor) device(unlocked bool) webauthn.AuthenticatorID {
	v.t.Helper()
	_, err := chromedp.Call(v.ctx, webauthn.Enable, webauthn.EnableParams{})
	v.ok(err)
	r, err := chromedp.Call(v.ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal,
		HasResidentKey: true, HasUserVerification: true, IsUserVerified: unlocked, AutomaticPresenceSimulation: true,
	}})
	v.ok(err)
	return r.AuthenticatorID
}

// TestPasskey: a supervisor makes a passkey on the phone, a coordinator signs for it on the keys' page, and two jobs are
// signed with one touch; what the device refuses is not signed; without it the passphrase remains.
func TestPasskey(t *testing.T) {
	s := newSite(t)
	plain := s.url
	s.url = strings.Replace(s.url, "127.0.0.1", "localhost", 1)
	super := s.Supervisors[0]
	var jobs []string
	for _, p := range s.Apprentices[:2] {
		jobs = append(jobs, s.FinishedJob(super, p, "induction", car))
	}
	w := s.visitAs(super, phone)
	id := w.device(true)
	w.open("/account")
	w.unfold("main", "Make a passkey on this device")
	w.expect("pubKeyCredParams") // Chromium misses RS256, which the ledger does not take
	w.press("Make a passkey")
	w.says("Your key is in force", "A new key waits for a coordinator’s signature.")

	c := s.visitAs(s.Coordinator, desktop)
	c.open("/keys")
	c.says(super.Name, "A passkey.")
	c.hides("Takes the place")
	c.choose(`input[name=person]`)
	c.fill("#passphrase", s.Coordinator.Passphrase)
	c.press("Sign for the ticked keys")

	w.open("/account")
	w.says("Your key is in force", "You have a passkey.")
	w.open("/sign")
	w.says("This is what you will sign.", s.Apprentices[0].Name, s.Apprentices[1].Name)
	// The owner is not recognised: nothing is signed.
	_, err := chromedp.Call(w.ctx, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: id, IsUserVerified: false})
	w.ok(err)
	w.touch("passkey", find("main", "Sign with your passkey instead"))
	w.wait("the device's refusal", func() bool { return strings.Contains(w.text("main"), "Your device did not sign") })
	_, err = chromedp.Call(w.ctx, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: id, IsUserVerified: true})
	w.ok(err)
	w.press("Sign with your passkey instead")
	w.says("Signed.")
	for _, job := range jobs {
		j, err := s.Store.Job(t.Context(), job)
		w.ok(err)
		e, err := s.Store.Entry(t.Context(), j.SignOff)
		w.ok(err)
		if sig := e.Entry.Signatures; len(sig) != 1 || !ledger.IsPasskey(sig[0].Alg) || len(sig[0].Among) != 2 {
			t.Errorf("job %s is signed by %+v", job, sig)
		}
	}
	// A form that is wrong says so as ever, and what was ticked and written stays.
	w.open("/people/" + s.Apprentices[0].ID + "/tasks/induction")
	w.unfold("main", "Clear "+s.Apprentices[0].Name+" for this task")
	w.fill("#reason", "The licence-holder agrees")
	w.expect("422")
	w.expect("422")
	w.pressIn("form[action$=clear]", "Sign with your passkey instead")
	w.says("waiver")
	if got := mustEval[string](w, `document.getElementById("reason").value`); got != "The licence-holder agrees" {
		t.Errorf("the reason is lost: %q", got)
	}

	// A touch that is bogus does not sign; the job stays.
	job := s.FinishedJob(super, s.Apprentices[0], "induction", car)
	w.logIn(super)
	w.open("/sign?job=" + job)
	yes := true
	_, err = chromedp.Call(w.ctx, webauthn.SetResponseOverrideBits, webauthn.SetResponseOverrideBitsParams{AuthenticatorID: id, IsBogusSignature: &yes})
	w.ok(err)
	w.expect("422")
	w.press("Sign with your passkey instead")
	w.says("does not fit what was shown")
	// The same page without the device's site: only the passphrase.
	s.url = plain
	p := s.visitAs(super, phone)
	p.open("/sign?job=" + job)
	p.hides("passkey")
	p.open("/account")
	p.unfold("main", "Make a passkey on this device")
	p.says("browsers offer no passkeys here")
	p.open("/sign?job=" + job)
	p.fill("#passphrase", super.Passphrase)
	p.press("Sign")
	p.says("Signed.")
	v, err := store.Verify(t.Context(), s.Options, false, nil)
	if err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
}
