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

// maxPrior bounds a prior's weight: a prior worth more jobs than anybody does would drown all evidence.
const maxPrior = 1000

// DefaultParameters are the documented priors; see the package documentation for how they were chosen.
func DefaultParameters() Parameters {
	return Parameters{Format: ParametersFormat, Prior: Beta{Alpha: 19, Beta: 1}}
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
	case p.Prior.Alpha < 1 || p.Prior.Alpha > maxPrior || p.Prior.Beta < 1 || p.Prior.Beta > maxPrior:
		return Parameters{}, fmt.Errorf("parameters: prior.alpha and prior.beta must be from 1 to %d", maxPrior)
	}
	return p, nil
}
