package demo

// The training centre is invented, with everybody and everything in it.
const (
	centreTitle = "Ostlermoor Brake Training Centre"
	origin      = "ostlermoor.example/ledger"
	zone        = "Europe/Dublin"
)

// place is a site with its cohort.
type place struct{ name, cohort string }

var places = []place{
	{"Ostlermoor Yard", "Spring intake"},
	{"Quarry Lane Workshop", "Autumn intake"},
}

// supervisor is somebody who watches, signs and clears.
type supervisor struct {
	name, login string
	site        int      // index into places, -1 for all
	tasks       []string // appointed for; nil: all
	bulk        bool     // marks the uncritical steps in one tap
	qualified   string
}

var supervisors = []supervisor{
	{name: "Berta Quillstone", login: "berta", site: -1, qualified: "brake instructor, level 3"},
	{name: "Oswin Larkhammer", login: "oswin", site: -1, bulk: true, qualified: "brake instructor, level 2"},
	{name: "Sunniva Drayfold", login: "sunniva", site: 1, qualified: "brake technician and assessor"},
}

const (
	coordinatorName, coordinatorLogin = "Edda Pellworth", "edda"
)

// The tasks of the embedded programme, as the stories use them.
const (
	induction = "induction"
	bleeding  = "bleed-manual"
	caliper   = "caliper"
	master    = "master-cylinder"
)

// plan is an apprentice's way through one task. Days count from the start of the history; negative ones from its end.
type plan struct {
	task     string
	start    int  // reads the lessons
	failTest bool // fails the first theory test, passes the second
	noTest   bool
	jobs     int // watched jobs at most; 0 none
	every    int // days between them
	prompted int // the first so many jobs have a prompted step
	critical int // this job (from 1) has a critical error; 0 none
	layouts  int // 1: always the same vehicle
	clear    bool
	term     int      // cleared for so many days only
	limit    bool     // cleared for one layout only, one hold point still watched
	waive    []string // gates set aside by two people
	alone    int      // unwatched jobs after the clearance
	down     bool     // stood down at the end
	restored bool     // and restored
}

// apprentice is one story.
type apprentice struct {
	name, login string
	place       int
	joined      int    // day
	leaves      int    // day of leaving, 0: stays
	away        [2]int // leave from, to
	plans       []plan
}

var apprentices = []apprentice{
	{name: "Anselm Rookvale", login: "anselm", plans: []plan{
		{task: induction, start: 1, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 9, jobs: 13, every: 3, prompted: 2, clear: true, alone: 9},
		{task: caliper, start: 54, jobs: 12, every: 3, prompted: 1, clear: true, alone: 4},
		{task: master, start: 92, jobs: 14, every: 4, prompted: 1},
	}},
	{name: "Bryony Tarnside", login: "bryony", plans: []plan{
		{task: induction, start: 1, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 10, jobs: 13, every: 3, prompted: 1, clear: true, alone: 10},
		{task: caliper, start: 60, jobs: 14, every: 3, prompted: 2, clear: true, alone: 3},
		{task: master, start: 120, jobs: 4, every: 5, prompted: 1},
	}},
	{name: "Caspar Thornbeck", login: "caspar", plans: []plan{
		{task: induction, start: 1, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 8, jobs: 12, every: 2, clear: true, term: 60},
		{task: caliper, start: 100, jobs: 4, every: 7, prompted: 2},
	}},
	{name: "Delphine Oxmere", login: "delphine", plans: []plan{
		{task: induction, start: 2, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 11, jobs: 12, every: 3, clear: true, alone: 6},
		{task: caliper, start: 56, jobs: 13, every: 3, clear: true, alone: 3, down: true},
	}},
	{name: "Emrys Copperfold", login: "emrys", leaves: 118, plans: []plan{
		{task: induction, start: 2, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 10, jobs: 13, every: 4, prompted: 1, clear: true, alone: 3},
	}},
	{name: "Freya Lindquarry", login: "freya", plans: []plan{
		{task: induction, start: 2, jobs: 4, every: 3, clear: true},
		{task: bleeding, start: 20, failTest: true, jobs: 9, every: 8, prompted: 4},
		{task: caliper, start: 90, jobs: 3, every: 9, prompted: 2},
	}},
	{name: "Gideon Marlbeck", login: "gideon", plans: []plan{
		{task: induction, start: 2, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 14, jobs: 12, every: 9, prompted: 3, critical: 11},
		{task: caliper, start: 110, noTest: true, jobs: 2, every: 9},
	}},
	{name: "Hester Quaymount", login: "hester", plans: []plan{
		{task: induction, start: 3, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 12, jobs: 13, every: 3, prompted: 1, clear: true, limit: true, alone: 8},
		{task: caliper, start: 70, jobs: 12, every: 5, prompted: 1},
	}},
	{name: "Ivo Sandhollow", login: "ivo", place: 1, joined: 60, plans: []plan{
		{task: induction, start: 62, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 72, jobs: 14, every: 4},
	}},
	{name: "Juniper Ashwick", login: "juniper", place: 1, joined: 60, away: [2]int{100, 121}, plans: []plan{
		{task: induction, start: 62, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 72, jobs: 6, every: 5, prompted: 2},
	}},
	{name: "Kester Windrow", login: "kester", place: 1, joined: 60, plans: []plan{
		{task: induction, start: 62, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 71, jobs: 13, every: 3, clear: true, alone: 2, down: true, restored: true},
	}},
	{name: "Linnet Farrowgate", login: "linnet", place: 1, joined: 60, plans: []plan{
		{task: induction, start: 63, jobs: 4, every: 2, clear: true},
		{task: bleeding, start: 73, jobs: 13, every: 3, layouts: 1, clear: true, waive: []string{"layouts", "critical_steps"}, alone: 2},
	}},
	{name: "Magnus Pebblemoor", login: "magnus", place: 1, joined: 118, plans: []plan{
		{task: induction, start: 120, jobs: 4, every: 3, clear: true},
		{task: bleeding, start: 138, noTest: true},
	}},
	{name: "Nerys Holmwater", login: "nerys", place: 1, joined: 147},
}
