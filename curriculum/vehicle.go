package curriculum

// Vehicle is one vehicle sheet, or a car described on the spot ([Car.Vehicle]).
type Vehicle struct {
	ID, Title, Language string
	Layout              string
	Features            []string
	Wheels              []Wheel // in the order of the sheet
	Orders              map[string][]string
	Figures             []Figure // Key is set
	File, Edition       string   // "" for a car described on the spot

	source []byte
	doc    *document
	byKey  map[string]int  // indexes of Figures; nil while they are gathered
	faulty map[string]bool // keys of rows with a fault: not among Figures, and not missing either
}

// Wheel is a wheel's name with the features that belong to it alone.
type Wheel struct {
	Name     string
	Features []string
}

// Axle returns "front" or "rear" for a wheel: by its own features where they say so, else by its name's last letter (F, R), else "".
func (v *Vehicle) Axle(wheel string) string { return axleOf(v, wheel) }

// Has says whether the car has all these features; with a wheel, that wheel's features count too.
func (v *Vehicle) Has(features []string, wheel string) bool { return hasFeatures(v, features, wheel) }

// Figure finds a figure by key; {axle} in key is replaced by axle.
func (v *Vehicle) Figure(key, axle string) (Figure, bool) { return figureOf(v, key, axle) }

// Figure is a row of a figures table: of a lesson (Key may be "") or of a vehicle sheet.
type Figure struct {
	Row
	Key      string
	Quantity Text
	Value    string // decimal as written; the low end of a range
	High     string // high end of a range, else ""
	Unit     Unit
	Limit    LimitKind
	Source   Text
	Language string `json:"-"` // of the lesson or sheet that holds it; "" is written in English
}

// LimitKind is the direction of a limit, inclusive.
type LimitKind string

const (
	NoLimit LimitKind = ""
	Minimum LimitKind = "minimum"
	Maximum LimitKind = "maximum"
	Range   LimitKind = "range"
)

// String gives the figure as a reader of its language sees it: "0.03–0.25 mm", "20 mm", "24 months", "4".
func (f Figure) String() string { return figureString(f) }

// Quantity is an exact decimal with a unit, as typed or as written: {"value":"22.5","unit":"mm"}.
type Quantity struct {
	Value string `json:"value"`
	Unit  Unit   `json:"unit"`
}

// Judge says how a reading stands to the figure's limit, exactly: "within", "below", "above"; an error if the
// units measure different things or the figure has no limit. Limits are inclusive; the reading is judged as entered.
func (f Figure) Judge(reading Quantity) (Verdict, error) { return judge(f, reading) }

// Verdict of a reading.
type Verdict string

const (
	Within Verdict = "within"
	Below  Verdict = "below"
	Above  Verdict = "above"
)

// Car is a car described on the spot: only what the task's steps ask. It is JSON in drafts and sign-offs.
type Car struct {
	Title    string              `json:"title"`
	Layout   string              `json:"layout"`
	Features []string            `json:"features,omitempty"`
	Wheels   []CarWheel          `json:"wheels,omitempty"`
	Orders   map[string][]string `json:"orders,omitempty"`
	Figures  []CarFigure         `json:"figures,omitempty"`
}

// CarWheel is a wheel of a car described on the spot.
type CarWheel struct {
	Name     string   `json:"name"`
	Features []string `json:"features,omitempty"`
}

// CarFigure is a limit or value read from the maker's service information.
type CarFigure struct {
	Key    string    `json:"key"`
	Value  string    `json:"value"`
	High   string    `json:"high,omitempty"`
	Unit   Unit      `json:"unit"`
	Limit  LimitKind `json:"limit,omitempty"`
	Source string    `json:"source"` // where it was read
}

// Vehicle checks a described car against the programme (layouts, features, orders, keys, units, decimals) and turns
// it into the type that lessons are expanded with. Problems carry Args["field"] such as "figures[2].unit"; File is "".
func (c Car) Vehicle(p *Programme) (*Vehicle, []Problem) { return carVehicle(c, p) }

// Needed lists the keys (with {axle} resolved) that the steps of these lessons measure or show on a car with these
// features, each with the limit kind and unit that the programme's own sheets use for it.
func (p *Programme) Needed(lessons []string, c Car) []CarFigure { return needed(p, lessons, c) }
