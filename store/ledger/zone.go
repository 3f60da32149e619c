package ledger

import (
	"fmt"
	"sync"
	"time"
	_ "time/tzdata" // dates must come out the same on a machine without zone files
)

var zones sync.Map // name → *time.Location; zones are few and immutable

// loadZone returns an IANA zone. "Local" is refused: it would mean another zone on another machine.
func loadZone(name string) (*time.Location, error) {
	if l, ok := zones.Load(name); ok {
		return l.(*time.Location), nil
	}
	if name == "" || name == "Local" {
		return nil, fmt.Errorf("%q is not an IANA time zone", name)
	}
	l, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("%q is not an IANA time zone", name)
	}
	zones.Store(name, l)
	return l, nil
}
