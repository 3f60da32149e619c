package browsertest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"brakewright/quiz"
	"brakewright/server/acts/actstest"
)

// space is the space bar.
const space = " "

// enter walks to an element, presses a key on it and waits for what comes of it.
func (v *visitor) enter(selector, key string) {
	v.t.Helper()
	v.tabTo(selector)
	v.follow(selector, func() { v.key(key) })
	v.need()
}

// typeInto walks to a field and types.
func (v *visitor) typeInto(selector, text string) {
	v.t.Helper()
	v.tabTo(selector)
	v.key(text)
	v.wait(selector+" to hold what was typed", func() bool { return mustEval[string](v, "document.activeElement.value") == text })
}

// focused says whether the focus is on an element.
func (v *visitor) focused(selector string) bool {
	return mustEval[bool](v, "document.activeElement.matches("+quote(selector)+")")
}

// answerByKeys gives a right answer with Tab, arrows, space and letters.
func (v *visitor) answerByKeys(q quiz.Question) {
	v.t.Helper()
	a := actstest.RightAnswer(q)
	switch q.Kind {
	case quiz.Several:
		for _, o := range q.Options { // as they stand on the page, so that Tab meets them in turn
			if index(a.IDs, o.ID) >= 0 {
				v.tabTo(`input[name=answer][value="` + o.ID + `"]`)
				v.key(space)
			}
		}
	case quiz.Order:
		for at, id := range a.IDs {
			up := `button[name=move][value="` + id + `:up"]`
			for from := index(v.order(), id); from > at; from-- {
				v.tabTo(up)
				v.key(kb.Enter)
				v.wait("a line to move up", func() bool { return index(v.order(), id) == from-1 })
				if from-1 > 0 && !v.focused(up) {
					v.t.Errorf("the focus did not follow the line that moved on %s", v.where())
				}
			}
		}
	case quiz.Match:
		for _, p := range a.Pairs {
			v.tabTo("#match-" + p[0])
			for range len(q.Targets) + 1 {
				if mustEval[string](v, "document.activeElement.value") == p[1] {
					break
				}
				v.key(kb.ArrowDown)
			}
		}
	case quiz.Number:
		v.typeInto("#answer", a.Text)
	default:
		v.tabTo("input[name=answer]")
		if want := `input[value="` + a.ID + `"]`; v.focused(want) {
			v.key(space)
		} else {
			for range q.Options {
				if v.key(kb.ArrowDown); v.focused(want) {
					break
				}
			}
		}
	}
}

// TestKeyboard uses no pointer: Tab, arrows, Enter, space and letters alone lead from the log-in through a theory test to its
// result, and through a sheet to its signature. Wherever the focus stands it is seen.
func TestKeyboard(t *testing.T) {
	s := newSite(t)
	learner, super := s.Apprentices[0], s.Supervisors[0]
	s.Read(learner, "induction")
	a := s.visit(desktop)
	a.logInByKeys(learner)
	a.enter(`main a[href*="/tests/start"]`, kb.Enter)
	a.enter(`main form button.main`, space)
	id, form := s.openTest(a)
	for i, q := range form.Questions {
		a.at(fmt.Sprintf("/tests/%s/questions/%d", id, i+1))
		a.answerByKeys(q)
		a.enter("button[name=go][value=next]", kb.Enter)
	}
	a.says(fmt.Sprintf("All %d questions are answered.", len(form.Questions)))
	a.enter("main form button.main", kb.Enter)
	a.says("Passed: 100 %")

	s.askForJobAs(learner, "induction", car)
	w := s.visit(desktop)
	w.logInByKeys(super)
	w.enter(`main form[action$="/take"] button`, kb.Enter)
	w.says("You are watching this job.")
	for _, st := range steps(w) {
		button := "#" + st.ID + "-u"
		if st.Hold {
			button = "#" + st.ID + "-both"
		} else if !st.Critical {
			continue
		}
		w.enter(button, space)
		if !w.focused(button) {
			t.Errorf("after a tap the focus is not on its button %s any more", button)
		}
		if got := mustEval[string](w, "document.activeElement.getAttribute('aria-pressed')"); got != "true" {
			t.Errorf("%s has aria-pressed %q after it was pressed", button, got)
		}
	}
	w.enter("#rest", kb.Enter)
	w.enter("#outcome-finished", kb.Enter)
	w.at(`/sign\?job=[0-9a-f-]{36}`)
	w.typeInto("#passphrase", super.Passphrase)
	w.follow("Enter in the field", func() { w.key(kb.Enter) })
	w.says("Signed.")
}

func (v *visitor) logInByKeys(m *actstest.Member) {
	v.t.Helper()
	v.open("/login")
	v.key(kb.Tab)
	v.need()
	if got := mustEval[string](v, "document.activeElement.innerText"); !strings.Contains(got, "Skip to the content") {
		v.t.Errorf("the first Tab leads to %q, not to the content", got)
	}
	v.typeInto("#login", m.Login)
	v.typeInto("#password", m.Password)
	v.follow("Enter in the field", func() { v.key(kb.Enter) })
}
