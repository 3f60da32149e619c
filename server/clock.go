package server

import (
	"fmt"
	"strconv"
	"time"
)

// clock shows times in the programme's zone.
type clock struct {
	zone *time.Location
	now  time.Time
}

// moment is a time as a page shows it.
type moment struct {
	ISO  string // for the datetime attribute
	Text string // "24 Nov 2025, 14:05"
}

func newClock(zone string, now time.Time) (clock, error) {
	l, err := time.LoadLocation(zone)
	if err != nil {
		return clock{}, fmt.Errorf("server: the programme's zone: %w", err)
	}
	return clock{zone: l, now: now.In(l)}, nil
}

// today is the date in the programme's zone.
func (c clock) today() string { return c.now.Format(time.DateOnly) }

// at shows a time; a zero time is empty.
func (c clock) at(t time.Time) moment {
	if t.IsZero() {
		return moment{}
	}
	t = t.In(c.zone)
	return moment{ISO: t.Format(time.RFC3339), Text: t.Format("2 Jan 2006, 15:04")}
}

// iso is at for a time in RFC 3339; what is none comes back as it is.
func (c clock) iso(text string) moment {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return moment{ISO: text, Text: text}
	}
	return c.at(t)
}

// ms is at for milliseconds since 1970.
func (c clock) ms(ms int64) moment {
	if ms == 0 {
		return moment{}
	}
	return c.at(time.UnixMilli(ms))
}

// day shows a date; "" and what is no date come back as they are.
func (c clock) day(date string) moment {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return moment{ISO: date, Text: date}
	}
	return moment{ISO: date, Text: t.Format("2 Jan 2006")}
}

// ago says how long ago something was, in the largest unit that fits.
func (c clock) ago(t time.Time) string {
	d := c.now.Sub(t)
	switch {
	case d < time.Minute:
		return "just now"
	case d < time.Hour:
		return count(int(d/time.Minute), "minute", "minutes") + " ago"
	case d < 48*time.Hour:
		return count(int(d/time.Hour), "hour", "hours") + " ago"
	}
	return count(int(d/(24*time.Hour)), "day", "days") + " ago"
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// seconds is a duration as Retry-After has it: whole seconds, rounded up, at least 1.
func seconds(d time.Duration) string { return strconv.Itoa(int(max(1, (d+time.Second-1)/time.Second))) }
