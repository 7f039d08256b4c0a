package service

import (
	"strings"
	"time"

	"chainline/capacity"
	"chainline/internal/input"
	"chainline/internal/store"
)

// Withheld is why a forecast that was kept may not be shown any more by what is
// known of the rider now, in sentences; empty if it may. A rider's text that
// cannot be read withholds nothing: whoever shows it says that. Day is that of
// the race.
func Withheld(s RaceSheet, rider string, day time.Time) string {
	f, err := input.ReadRider("rider", strings.NewReader(rider))
	if err != nil {
		return ""
	}
	if f.EasyOnly {
		return "No field is advised: by the health questions only easy riding is right for now, and racing is hard exercise. Ask a doctor first."
	}
	if !underAge(f, day) {
		return ""
	}
	for _, c := range s.Categories {
		if c.MarginWKg != nil {
			return "This was reckoned before it was known that the rider is under 18. Simulate again: it is said in watts then."
		}
	}
	return ""
}

// Called is the kept rider of a name, as a result list may have it; empty if
// nobody is, or several are.
func Called(name string, riders []store.Object) (file, text string) {
	for _, o := range riders {
		if strings.EqualFold(o.Name, strings.TrimSpace(name)) {
			if text != "" {
				return "", ""
			}
			file, text = o.File()
		}
	}
	return file, text
}

// Minor is whether a rider's text says that they are under 18 on a day: nobody
// under 18 is shown W/kg.
func Minor(rider string, day time.Time) bool {
	f, err := input.ReadRider("rider", strings.NewReader(rider))
	return err == nil && underAge(f, day)
}

func underAge(f input.RiderFile, day time.Time) bool {
	return capacity.MaybeMinor(riderOf(f, day).Age)
}
