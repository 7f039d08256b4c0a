package session

import (
	"fmt"
	"slices"
)

// Starter is a session of the starter library, in the notation.
type Starter struct {
	ID   string // in addresses and file names: "endurance-long"
	Text string
}

// Session is the text read. The texts are ours and tested: one that cannot be
// read is a mistake in this package.
func (s Starter) Session() Session {
	read, err := Parse(s.Text)
	if err != nil {
		panic(fmt.Sprintf("session: starter %s: %v", s.ID, err))
	}
	return read
}

// Library is the starter library: rides first, then field tests, then the rig check. The sessions
// are ours; their shapes are common practice where no source is named.
func Library() []Starter { return slices.Concat(rides, fieldTests, checks) }

// Find is the starter with an id.
func Find(id string) (Starter, bool) {
	for _, s := range Library() {
		if s.ID == id {
			return s, true
		}
	}
	return Starter{}, false
}

var rides = []Starter{
	{"easy-baseline", `session: Easy baseline
purpose: A first ride that is easy throughout: you learn the rig, and what heart rate goes with which watts when nothing is hard.
for: Everybody, and the first ride for whoever is new or comes back.
caution: If talking becomes an effort, ease off: nothing here is meant to be hard.
caution: Chest pain, faintness or unusual breathlessness: stop and get help.

warm up 10 min from 35 to 50 % of threshold, say "Find a gear and a saddle that feel right"
ride 8 min at 50 % of threshold at 80 to 95 rpm, say "Note the heart rate at the end"
ride 8 min at 60 % of threshold at 80 to 95 rpm, say "Could you chat? Then this is right"
ride 8 min at 50 % of threshold at 80 to 95 rpm
cool down 6 min from 45 to 35 % of threshold
`},
	{"endurance-short", `session: Endurance, short
purpose: Steady riding that builds the base, in an hour.
for: Everybody who rides for an hour without trouble.
caution: Drink before you are thirsty, and let the fan run.

warm up 10 min from 45 to 60 % of threshold
ride 40 min at 60 to 70 % of threshold, say "You speak in whole sentences all the way"
cool down 10 min from 55 to 40 % of threshold
`},
	{"endurance-long", `session: Endurance, long
purpose: The long steady ride: hours at an effort that could go on.
for: Riders who have done the short one often.
caution: Over two hours indoors cost much sweat: have two bottles and something to eat within reach.
caution: If the heart climbs well above where it was at the same watts, ease off or stop.

warm up 15 min from 45 to 60 % of threshold
three times:
  ride 40 min at 60 to 70 % of threshold at 80 to 95 rpm
  easy 3 min, say "Stand up, stretch, drink"
end
cool down 10 min from 55 to 40 % of threshold
`},
	{"tempo", `session: Tempo
purpose: Long pieces at an effort that is firm and still far from the limit.
for: Riders with some months of regular riding.
caution: Not on the day after a hard one.

warm up 12 min from 45 to 70 % of threshold
three times:
  ride 15 min at 80 to 88 % of threshold, say "Firm, and you could go on"
  easy 4 min
end
cool down 8 min from 55 to 40 % of threshold
`},
	{"threshold-twice", `session: Threshold in two long pieces
purpose: Twice half an hour at threshold: the ability to hold it, and a check that your threshold is right.
for: Trained riders whose threshold is known from a test.
caution: Hard. If the first piece is already all you have, your threshold is set too high: stop there.
caution: Only after a health screening, rested and with a strong fan.

warm up 15 min from 45 to 75 % of threshold
easy 3 min
ride 30 min at threshold at 80 to 95 rpm, say "Even: the last five minutes are where it counts"
easy 10 min
ride 30 min at threshold at 80 to 95 rpm, say "As before, watt for watt"
cool down 10 min from 50 to 40 % of threshold
`},
	{"severe-even", `session: Above critical power, even pieces
purpose: Minutes above critical power, spent evenly: breathing and legs near their limit, five times.
for: Trained riders who ride hard every week.
caution: Very hard. Only after a health screening, fresh, and no more than twice a week.
caution: Stop the session when a piece cannot be held to its end; do not make it up.

warm up 15 min from 45 to 80 % of threshold
easy 4 min
five times:
  ride 4 min at 112 % of critical power at 85 to 100 rpm
  easy 4 min
end
cool down 10 min from 50 to 40 % of threshold
`},
	{"severe-to-the-bottom", `session: Above critical power, down and back
purpose: Each piece lasts until little of W′ is left and each pause until most of it is back, so that the session fits the day.
for: Trained riders who know their critical power and W′.
caution: Very hard. Only after a health screening, fresh, and no more than once a week.

warm up 15 min from 45 to 80 % of threshold
easy 4 min
four times:
  ride until 30 % is left, at least 1 min, at most 6 min, at 120 % of critical power
  easy until 70 % is back, at least 2 min, at most 10 min
end
cool down 10 min from 50 to 40 % of threshold
`},
	{"severe-short", `session: Short and hard, many times
purpose: Half minutes above critical power with half minutes of ease: much time near the limit, little at a time.
for: Trained riders; kinder to the head than long pieces.
caution: Hard. Only after a health screening.

warm up 15 min from 45 to 75 % of threshold
three times:
  ten times:
    ride 30 s at 120 % of critical power
    ride 30 s at 55 % of critical power
  end
  easy 5 min
end
cool down 8 min from 50 to 40 % of threshold
`},
	{"sprints", `session: Sprints
purpose: All you have for ten seconds, with rest enough to have it again: peak power and getting on top of a gear.
for: Riders without trouble in knees or back, on a rig that stands firm.
caution: Maximal. Only after a health screening.
caution: Check that the bike is clamped tight; stay seated in the first two.

warm up 15 min from 45 to 75 % of threshold
six times:
  sprint 10 s, say "Now: everything, to the end"
  easy 4 min 50 s
end
cool down 8 min from 50 to 40 % of threshold
`},
	{"openers", `session: Openers before a race
purpose: The day before: wake the legs, tire nothing.
for: Racers on the day before a race.
caution: If it feels like training, it is too much.

warm up 12 min from 45 to 65 % of threshold
three times:
  ride 1 min at threshold at 95 to 105 rpm
  easy 2 min
end
twice:
  ride 15 s at 130 % of critical power at 100 to 110 rpm
  easy 3 min
end
ride 8 min at 55 to 65 % of threshold
cool down 5 min from 50 to 40 % of threshold
`},
	{"easy-spin", `session: Easy spin
purpose: Move the legs and rest: the ride of the day after.
for: Everybody.
caution: Too easy is right.

ride 30 min so that you could chat for hours at 85 to 100 rpm
`},
	{"first-group-ride", `session: Before your first group ride
purpose: What a group does and solo riding does not: surges, holding a wheel, easing without stopping.
for: Riders who ride an hour steadily and want to join others.
caution: Nothing here is maximal: the surges are firm, and you recover while riding on.

warm up 10 min from 45 to 65 % of threshold
twice:
  ride 5 min at 70 % of threshold, say "The group rolls"
  ride 1 min at 95 % of threshold at 90 to 105 rpm, say "It surges: go with it, do not chase past it"
  ride 3 min at 70 % of threshold, say "Settle while you ride on"
  ride 30 s at 95 % of threshold, say "A rise: over the top"
  ride 30 s at 35 % of threshold, say "In the wheels: pedal lightly, stay with it"
end
ride 10 min so that you speak in whole sentences
cool down 6 min from 50 to 40 % of threshold
`},
}
