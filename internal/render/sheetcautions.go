package render

import "strings"

// cautionPlaces are where a caution stands: next to what it is about. A
// caution goes by the first words of these it holds; one that holds none, or
// whose section is not on the sheet, stands at the foot, so that none is lost.
var cautionPlaces = []struct {
	place string
	words []string
}{
	{"foot", []string{"does not examine you", "medical device"}},
	{"room", []string{"sockets", "leads", "this room", "fan ", "drink"}},
	{"plan", []string{"hard effort", "doctor", "guardian", "maximal test", "heart rate"}},
}

// placeCautions parts the cautions by what they are about.
func placeCautions(all []string, hasRoom bool) (plan, room, foot []string) {
	for _, c := range all {
		place := "foot"
		lower := strings.ToLower(c)
	search:
		for _, p := range cautionPlaces {
			for _, w := range p.words {
				if strings.Contains(lower, w) {
					place = p.place
					break search
				}
			}
		}
		switch {
		case place == "plan":
			plan = append(plan, c)
		case place == "room" && hasRoom:
			room = append(room, c)
		default:
			foot = append(foot, c)
		}
	}
	return plan, room, foot
}
