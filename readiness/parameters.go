package readiness

// Parameters is a versioned snapshot of population values. It names the moment up to which evidence went into it.
// The first model is a Beta prior over jobs without a critical error; see the package documentation.
type Parameters struct {
	Format string `json:"format"`          // "brakewright-parameters/1"
	UpTo   string `json:"up_to,omitempty"` // date, or "" for the documented priors
	Prior  Beta   `json:"prior"`
}

// Beta is a Beta distribution's parameters, whole numbers from 1.
type Beta struct {
	Alpha int `json:"alpha"`
	Beta  int `json:"beta"`
}

// DefaultParameters are the documented priors.
func DefaultParameters() Parameters { return defaultParameters() }

// JSON is the snapshot's exact bytes; Hash their SHA-256 (hex).
func (p Parameters) JSON() []byte { return parametersJSON(p) }

// Hash is the SHA-256 (hex) of JSON.
func (p Parameters) Hash() string { return parametersHash(p) }

// ReadParameters reads a snapshot strictly.
func ReadParameters(b []byte) (Parameters, error) { return readParameters(b) }
