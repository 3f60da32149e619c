package readiness

// Dates are "YYYY-MM-DD" in the programme's zone, so they compare as strings. Inside, a day is a number of days since
// 1970-01-01; only differences matter.

// day is a date as days since 1970-01-01 (Gregorian).
type day int

// validDate says whether s is a date that exists, from year 0001 to 9999.
func validDate(s string) bool {
	_, ok := parseDay(s)
	return ok
}

// parseDay reads YYYY-MM-DD strictly.
func parseDay(s string) (day, bool) {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return 0, false
	}
	y, oky := digits(s[:4])
	m, okm := digits(s[5:7])
	d, okd := digits(s[8:])
	if !oky || !okm || !okd || y < 1 || m < 1 || m > 12 || d < 1 || d > monthDays(y, m) {
		return 0, false
	}
	return civil(y, m, d), true
}

// toDay is parseDay of a date already checked; 0 for anything else.
func toDay(s string) day {
	d, _ := parseDay(s)
	return d
}

func digits(s string) (int, bool) {
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, true
}

func monthDays(y, m int) int {
	switch m {
	case 2:
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// civil counts days from 1970-01-01. Years are taken from March, so that the leap day comes last.
func civil(y, m, d int) day {
	if m <= 2 {
		y--
	}
	era := y / 400 // y is never negative here
	yoe := y - era*400
	doy := (153*((m+9)%12)+2)/5 + d - 1
	doe := yoe*365 + yoe/4 - yoe/100 + doy
	return day(era*146097 + doe - 719468)
}

// String is the date as YYYY-MM-DD; the inverse of parseDay. Days after the year 9999 are written as 9999-12-31.
func (n day) String() string {
	const last = day(2932896) // 9999-12-31
	z := int(min(n, last)) + 719468
	era := z / 146097
	doe := z - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	d := doy - (153*mp+2)/5 + 1
	m, y := mp+3, yoe+era*400
	if m > 12 {
		m, y = m-12, y+1
	}
	b := make([]byte, 0, 10)
	b = append(b, byte('0'+y/1000%10), byte('0'+y/100%10), byte('0'+y/10%10), byte('0'+y%10), '-')
	b = append(b, byte('0'+m/10), byte('0'+m%10), '-')
	b = append(b, byte('0'+d/10), byte('0'+d%10))
	return string(b)
}
