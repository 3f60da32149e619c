package say

// PopulationValue is what a population value of the parameters is called on pages.
func PopulationValue(name string) string { return sayCode(populationWords, name, nil) }

// populationWords are in the order of the format.
var populationWords = map[string]string{
	"ability":         "Mean ability in practice",
	"general_sd":      "Spread between apprentices, over all tasks",
	"task_sd":         "Spread between tasks of one apprentice",
	"routine":         "Difficulty of a routine job",
	"awkward":         "Difficulty of an awkward job",
	"halo_sd":         "Spread from job to job",
	"day_sd":          "Spread from day to day",
	"help_slope":      "How much ability shows in steps done unaided",
	"help_critical":   "Ease of critical steps",
	"help_ordinary":   "Ease of other steps",
	"deficit":         "What is missing before the first job",
	"practice":        "Share of it left after each job",
	"retained":        "Share of learning never forgotten",
	"forget_days":     "Days until most of the rest is forgotten",
	"catch_up":        "Looking back: how much was learned since",
	"catch_rate":      "Looking back: share left after each job",
	"catch_base":      "Looking back: share counted at once",
	"catch_step":      "Looking back: share left for each job not clean",
	"owed":            "How much of what is missing is taken off",
	"error":           "Weight of a critical error",
	"fade":            "Fading of what spoke against, with each clean job",
	"severity_sd":     "Spread between supervisors",
	"unseen":          "Perfect records signed unseen",
	"bulk":            "Weight of a step ticked in bulk",
	"bulk_seen":       "Bulk ticks at critical steps of jobs seen",
	"bulk_unseen":     "Bulk ticks at critical steps of jobs unseen",
	"spot_check":      "Weight of a spot check",
	"places":          "How separately critical steps go wrong",
	"tail":            "Jobs that are not like others",
	"knowledge_mean":  "Mean ability to answer",
	"knowledge_slope": "How much practical ability shows in answers",
	"knowledge_sd":    "Spread of the rest",
	"sure_up":         "Trust in high confidence",
	"sure_down":       "Trust in low confidence",
	"sure_shift":      "Shift of confidence",
}
