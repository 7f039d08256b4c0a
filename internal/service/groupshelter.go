package service

import "chainline/race"

// ShelterTakesOff is the share of a lone rider's air drag that the shelter of a
// live group takes off the second of a line, and the best placed; strength is
// "low", "high", or anything else for the middle.
func ShelterTakesOff(strength string) (second, best float64) {
	s := race.Middle
	switch strength {
	case "low":
		s = race.Low
	case "high":
		s = race.High
	}
	least := 1.0
	line := race.Live(s)
	for _, left := range line.Position {
		least = min(least, left)
	}
	return 1 - line.Position[1], 1 - least
}

// ShelterReachM is how far ahead in m a wheel of a live group can be and still
// give shelter.
func ShelterReachM() float64 { return race.Live(race.Middle).Reach }

// HelpTakesOff is the share of air drag that the host's keeping together takes
// off a rider so many seconds behind the middle of a live group.
func HelpTakesOff(behindS float64) float64 { return 1 - race.KeepTogether(behindS) }
