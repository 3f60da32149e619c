package server

import (
	"fmt"
	"math"
	"net/http"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
)

func (s *Server) registerSeverityRoutes(r *mux.Router) {
	s.get(r, "/severity", s.showSeverity)
}

// severityPage says how strict supervisors are: to a supervisor of themselves, to a coordinator of all of the site.
type severityPage struct {
	BasePage
	All  bool // for a coordinator
	Sets []severitySet
}

// severitySet are supervisors who can be compared with each other.
type severitySet struct {
	Name string
	Rows []severityRow
}

type severityRow struct {
	ID            string
	Name, Path    string
	Words, Number string
	Jobs          string
}

func (severityPage) template() string { return "severity" }

func newSeverityPage(b BasePage, all []acts.SupervisorSeverity, coordinator bool) severityPage {
	b.Title = "How strict your records are"
	if coordinator {
		b.Title = "How strict supervisors are"
	}
	page := severityPage{BasePage: b, All: coordinator}
	last := ""
	for _, x := range all {
		if len(page.Sets) == 0 || x.Set != last {
			page.Sets = append(page.Sets, severitySet{Name: "Those who can be compared: set " + itoa(len(page.Sets)+1)})
			last = x.Set
		}
		row := severityRow{ID: x.Person.ID, Name: personName(x.Person), Path: "/people/" + x.Person.ID, Jobs: count(x.Jobs, "watched job", "watched jobs"),
			Number: strings.Replace(fmt.Sprintf("%+.2f, standard error %.2f", x.Severity.Severity, x.SE), "-", "−", 1), Words: severityWords(x.Severity.Severity, x.SE)}
		if x.Alone {
			row.Words = "No apprentice was watched both by this supervisor and by somebody else: there is nobody to compare with."
		}
		set := &page.Sets[len(page.Sets)-1]
		set.Rows = append(set.Rows, row)
	}
	if len(page.Sets) == 1 {
		page.Sets[0].Name = "From the watched jobs"
	}
	return page
}

// severityWords says a severity as a difference that people can see.
func severityWords(severity, se float64) string {
	const sureTwoSided = 1.96
	if math.Abs(severity) < sureTwoSided*se || severity == 0 {
		return "No different from the others, as far as the jobs can tell."
	}
	const nineInTen = 2.197224577336219 // its logit
	passes := int(math.Round(100 / (1 + math.Exp(severity-nineInTen))))
	word := "Stricter"
	if severity < 0 {
		word = "Milder"
	}
	return word + " than the others. Where they would find no critical error in 90 jobs of 100, these records would show none in about " + itoa(passes) + "."
}

func (s *Server) showSeverity(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	me := personFrom(r.Context())
	all, err := s.acts.Severities(r.Context(), me, "")
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, newSeverityPage(b, all, acts.Holds(me, acts.Coordinator, b.clock.today())))
}

// apiSeverities answers the lines of brakewright severity for those whom one may see so.
func apiSeverities(c *apiCall) (apiAnswer, error) {
	all, err := c.acts.Severities(c.ctx(), c.actor, c.q("supervisor"))
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		Supervisor string  `json:"supervisor"`
		Severity   float64 `json:"severity"`
		SE         float64 `json:"se"`
		Jobs       int     `json:"jobs"`
		Set        string  `json:"set"`
	}
	out := struct {
		Severities []line `json:"severities"`
	}{[]line{}}
	for _, x := range all {
		out.Severities = append(out.Severities, line{x.Supervisor, x.Severity.Severity, x.SE, x.Jobs, x.Set})
	}
	return ok(out)
}
