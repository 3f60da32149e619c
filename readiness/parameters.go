package readiness

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// ParametersFormat is the format of the snapshots read and written here.
const ParametersFormat = "brakewright-parameters/1"

// Parameters is a versioned snapshot of population values. It names the moment up to which evidence went into it.
// What the values mean is said in the package documentation, "The probability".
type Parameters struct {
	Format string  `json:"format"`          // "brakewright-parameters/1"
	UpTo   string  `json:"up_to,omitempty"` // date, or "" for the documented priors
	Window int     `json:"window"`          // how many of the latest jobs count
	Prior  []Class `json:"prior"`           // what is believed before the first job
}

// Class is a part of the prior: so many percent of those who are trained have a chance of a job without a critical error
// that is spread as Beta(Alpha, Beta). Whole numbers.
type Class struct {
	Percent int `json:"percent"`
	Alpha   int `json:"alpha"`
	Beta    int `json:"beta"`
}

// Bounds: a prior worth more jobs than anybody does would drown all evidence.
const (
	maxPrior   = 1000
	maxWindow  = 1000
	maxClasses = 10
)

// DefaultParameters are the documented priors.
func DefaultParameters() Parameters {
	return Parameters{
		Format: ParametersFormat,
		Window: 15,
		Prior:  []Class{{Percent: 40, Alpha: 99, Beta: 1}, {Percent: 60, Alpha: 3, Beta: 2}},
	}
}

// JSON is the snapshot's exact bytes; Hash their SHA-256 (hex).
func (p Parameters) JSON() []byte {
	b, err := json.Marshal(p)
	if err != nil {
		panic("readiness: parameters to JSON: " + err.Error()) // strings and whole numbers only: cannot fail
	}
	return b
}

// Hash is the SHA-256 (hex) of JSON.
func (p Parameters) Hash() string { return hashHex(p.JSON()) }

// ReadParameters reads a snapshot strictly: one JSON object, no unknown field, values within their ranges.
func ReadParameters(b []byte) (Parameters, error) {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	var p Parameters
	if err := d.Decode(&p); err != nil {
		return Parameters{}, fmt.Errorf("parameters: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Parameters{}, errors.New("parameters: something follows the object")
	}
	switch {
	case p.Format != ParametersFormat:
		return Parameters{}, fmt.Errorf("parameters: format is %q, not %q", p.Format, ParametersFormat)
	case p.UpTo != "" && !validDate(p.UpTo):
		return Parameters{}, fmt.Errorf("parameters: up_to is %q, not a date", p.UpTo)
	case p.Window < 1 || p.Window > maxWindow:
		return Parameters{}, fmt.Errorf("parameters: window must be from 1 to %d", maxWindow)
	case len(p.Prior) < 1 || len(p.Prior) > maxClasses:
		return Parameters{}, fmt.Errorf("parameters: prior must have from 1 to %d classes", maxClasses)
	}
	sum := 0
	for i, c := range p.Prior {
		if c.Percent < 1 || c.Alpha < 1 || c.Alpha > maxPrior || c.Beta < 1 || c.Beta > maxPrior {
			return Parameters{}, fmt.Errorf("parameters: prior[%d]: percent must be at least 1, alpha and beta from 1 to %d", i, maxPrior)
		}
		sum += c.Percent
	}
	if sum != 100 {
		return Parameters{}, fmt.Errorf("parameters: the percentages of prior sum to %d, not 100", sum)
	}
	return p, nil
}
