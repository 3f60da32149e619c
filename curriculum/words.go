package curriculum

import (
	"strings"
)

// The words of the lesson format. English and Spanish are both understood in every file; classes work in any language.

// Section classes.
const (
	classCautions   = "cautions"
	classTools      = "tools"
	classProcedure  = "procedure"
	classFaults     = "faults"
	classFigures    = "figures"
	classTerms      = "terms"
	classArithmetic = "arithmetic"
	classMisbeliefs = "misbeliefs"
	classPictures   = "pictures"
	classBackground = "background"
)

var classes = []string{classCautions, classTools, classProcedure, classFaults, classFigures, classTerms, classArithmetic,
	classMisbeliefs, classPictures, classBackground}

var headingWords = map[string]string{
	"cautions": classCautions, "precauciones": classCautions,
	"tools and materials": classTools, "herramientas y materiales": classTools,
	"procedure": classProcedure, "procedimiento": classProcedure,
	"faults": classFaults, "averías": classFaults,
	"figures": classFigures, "datos": classFigures,
	"terms": classTerms, "términos": classTerms,
	"arithmetic": classArithmetic, "cálculo": classArithmetic,
	"misbeliefs": classMisbeliefs, "creencias erróneas": classMisbeliefs,
	"pictures": classPictures, "figuras": classPictures,
	"background": classBackground, "trasfondo": classBackground,
}

// Kinds of points under a step.
const (
	pointWhy       = "why"
	pointIfSkipped = "if-skipped"
	pointIfWrong   = "if-wrong"
	pointCheck     = "check"
	pointMeasure   = "measure"
)

var pointWords = map[string]string{
	"why": pointWhy, "por qué": pointWhy,
	"if skipped": pointIfSkipped, "si se omite": pointIfSkipped,
	"if done wrong": pointIfWrong, "si se hace mal": pointIfWrong,
	"check": pointCheck, "comprobar": pointCheck,
	"measure": pointMeasure, "medir": pointMeasure,
}

// Readings of a measure.
const (
	readOne     = "one"
	readLowest  = "lowest"
	readHighest = "highest"
	readSpread  = "spread"
	readEach    = "each"
)

// whichWords are looked for as whole words, in this order.
var whichWords = []struct{ word, which string }{
	{"lowest", readLowest}, {"la menor", readLowest},
	{"highest", readHighest}, {"la mayor", readHighest},
	{"spread", readSpread}, {"la diferencia", readSpread},
	{"each", readEach}, {"cada una", readEach},
}

var limitWords = map[string]LimitKind{
	"": NoLimit, "minimum": Minimum, "maximum": Maximum, "range": Range,
	"mínimo": Minimum, "máximo": Maximum, "intervalo": Range,
}

var saidWords = map[string]string{"said": "said", "se dice": "said", "in fact": "in-fact", "en realidad": "in-fact"}

// column is a column of a section's table.
type column struct {
	name     string   // key in our code
	words    []string // English, Spanish
	optional bool
	keys     []string // the words as [plainKey] makes them
}

func init() {
	for _, columns := range tableColumns {
		for i := range columns {
			for _, w := range columns[i].words {
				columns[i].keys = append(columns[i].keys, plainKey(w))
			}
		}
	}
}

var tableColumns = map[string][]column{
	classCautions: {{"hazard", []string{"Hazard", "Peligro"}, false, nil}, {"consequence", []string{"Consequence", "Consecuencia"}, false, nil},
		{"control", []string{"Control", "Control"}, false, nil}, {"if", []string{"If", "Si"}, true, nil}},
	classTools: {{"item", []string{"Item", "Artículo"}, false, nil}, {"use", []string{"Use", "Uso"}, false, nil},
		{"wrong", []string{"Wrong choice", "Elección equivocada"}, false, nil}, {"if", []string{"If", "Si"}, true, nil}},
	classFaults: {{"symptom", []string{"Symptom", "Síntoma"}, false, nil}, {"cause", []string{"Cause", "Causa"}, false, nil},
		{"check", []string{"Check that tells", "Comprobación que distingue"}, false, nil}, {"if", []string{"If", "Si"}, true, nil}},
	classFigures: {{"key", []string{"Key", "Clave"}, true, nil}, {"quantity", []string{"Quantity", "Magnitud"}, false, nil},
		{"value", []string{"Value", "Valor"}, false, nil}, {"unit", []string{"Unit", "Unidad"}, false, nil},
		{"limit", []string{"Limit", "Límite"}, false, nil}, {"source", []string{"Source", "Fuente"}, false, nil}},
	classPictures: {{"number", []string{"Number", "Número"}, false, nil}, {"part", []string{"Part", "Pieza"}, false, nil}},
}

// pageWords are what the page of a lesson says beside the author's own words.
type pageWords struct {
	critical, hold, eachWheel, eachOrder, onlyWith, askMaker, givens, front, rear, atLeast, atMost, counts, shopNote, notHere string
}

var wordsOf = map[string]pageWords{
	"en": {"Critical", "Hold point", "At each wheel", "At each wheel, one after the other", "Only with", "see the maker's service information", "Given", "front", "rear", "at least", "at most", "Arithmetic", "Shop note:", "Nothing of this is done on this car."},
	"es": {"Crítico", "Punto de espera", "En cada rueda", "En cada rueda, una tras otra", "Solo con", "consulte la información de servicio del fabricante", "Datos", "delante", "detrás", "al menos", "como máximo", "Cálculo", "Nota del taller:", "Nada de esto se hace en este vehículo."},
}

func pageWordsFor(language string) pageWords {
	base, _, _ := strings.Cut(strings.ToLower(language), "-")
	if w, ok := wordsOf[base]; ok {
		return w
	}
	return wordsOf["en"]
}

// keptMarks are the words that keep their mark: "with by wire" reads wrong, and a car split "front rear" reads as one word.
var keptMarks = strings.NewReplacer("by wire", "by-wire", "front rear", "front/rear")

// Readable makes an id such as "front-disc" into words, as the trade writes them.
func Readable(id string) string {
	return keptMarks.Replace(strings.NewReplacer("-", " ", "_", " ").Replace(id))
}

// FeatureName is what a page calls a car's or wheel's feature: abbreviations in capitals, as the trade writes them.
func FeatureName(id string) string {
	if len(id) <= 3 {
		return strings.ToUpper(id)
	}
	return Readable(id)
}

// plainKey makes words comparable: one space between words, no case, no trailing colon.
func plainKey(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	return strings.ToLower(strings.TrimSpace(strings.TrimSuffix(s, ":")))
}
