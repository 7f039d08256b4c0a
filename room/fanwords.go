package room

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Limits of a fan sentence.
const (
	longestFanSentence = 300
	mostFans           = 8
	nearestFan         = 0.2 // m
	farthestFan        = 10  // m
)

var kindWords = map[string]FanKind{
	"desk": Desk, "table": Desk, "small": Desk, "clip": Desk,
	"pedestal": Pedestal, "stand": Pedestal, "standing": Pedestal,
	"floor": Floor, "high-velocity": Floor, "velocity": Floor,
	"tower": Desk, "box": Pedestal, // the nearest kind
	"industrial": Industrial, "drum": Industrial, "barrel": Industrial,
}

var settingWords = map[string]FanSetting{
	"low": Low, "slow": Low, "medium": Medium, "middle": Medium, "mid": Medium,
	"high": High, "full": High, "fast": High, "max": High, "maximum": High,
}

var numberWords = map[string]float64{
	"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "half": 0.5,
}

// lengthWords are units of distance in m.
var lengthWords = map[string]float64{
	"m": 1, "metre": 1, "metres": 1, "meter": 1, "meters": 1, "cm": 0.01, "centimetres": 0.01, "centimeters": 0.01,
	"ft": 0.3048, "foot": 0.3048, "feet": 0.3048,
}

var idleWords = map[string]bool{
	"fan": true, "fans": true, "away": true, "at": true, "on": true, "in": true, "front": true, "of": true, "me": true,
	"from": true, "setting": true, "speed": true, "power": true, "and": true, "with": true, "my": true, "the": true,
	"about": true, "each": true, "set": true, "to": true, "plus": true, "distance": true, "both": true,
	"it": true, "is": true, "aimed": true, "pointed": true, "blowing": true, "facing": true, "chest": true, "face": true,
}

// expectedFan is how an error ends.
const expectedFan = `expected for example "one pedestal fan, a metre away, high" (kinds: desk, pedestal, floor, industrial; settings: low, medium, high), or "no fan"`

// ParseFan reads fans as people describe them, such as "one pedestal fan, a
// metre away, high" or "two desk fans at 80 cm on low and a floor fan". The
// kind has to be there; a distance left out is 1 m, a setting left out
// medium, a number left out one. "no fan" is an empty list. DescribeFans says
// what was understood. Errors say what was expected.
func ParseFan(sentence string) ([]Fan, error) {
	if len(sentence) > longestFanSentence {
		return nil, fmt.Errorf("fan: %d characters is too long for a description; %s", len(sentence), expectedFan)
	}
	words := fanWords(sentence)
	if len(words) == 0 {
		return nil, fmt.Errorf("fan: nothing to read; %s", expectedFan)
	}
	if len(words) <= 2 && (words[0] == "no" || words[0] == "none") && (len(words) == 1 || idleWords[words[1]]) {
		return nil, nil
	}
	var p fanParser
	for i := 0; i < len(words); {
		taken, err := p.take(words[i:])
		if err != nil {
			return nil, fmt.Errorf("fan %q: %w; %s", sentence, err, expectedFan)
		}
		i += taken
	}
	if err := p.finish(); err != nil {
		return nil, fmt.Errorf("fan %q: %w; %s", sentence, err, expectedFan)
	}
	return p.fans, nil
}

// fanWords splits into lower-case words, numbers apart from their units.
func fanWords(s string) []string {
	s = strings.ToLower(s)
	s = strings.NewReplacer("high velocity", "high-velocity", "½", " half ").Replace(s)
	var b strings.Builder
	runes := []rune(s)
	for i, r := range runes {
		digitBefore := i > 0 && unicode.IsDigit(runes[i-1])
		digitAfter := i+1 < len(runes) && unicode.IsDigit(runes[i+1])
		switch {
		case (r == '.' || r == ',') && digitBefore && digitAfter:
			b.WriteRune('.')
		case strings.ContainsRune(".,;:+()\t\n\r", r):
			b.WriteRune(' ')
		case digitBefore && unicode.IsLetter(r):
			b.WriteRune(' ')
			b.WriteRune(r)
		default:
			b.WriteRune(r)
		}
	}
	return strings.Fields(b.String())
}

// fanParser is what has been read so far. What stands before its fan waits.
type fanParser struct {
	fans                   []Fan
	hasDistance, hasChoice bool // of the last fan
	number                 float64
	hasNumber              bool
	distance               float64
	hasWaitingDistance     bool
	choice                 FanSetting
	hasWaitingChoice       bool
}

// take reads the next word or words and says how many.
func (p *fanParser) take(words []string) (int, error) {
	w := words[0]
	if kind, ok := kindWords[w]; ok {
		if len(words) > 1 {
			if next, also := kindWords[words[1]]; also && next == kind {
				return 1, nil // "high-velocity floor fan" is one fan
			}
		}
		return 1, p.addFan(kind)
	}
	if setting, ok := settingWords[w]; ok {
		return 1, p.addSetting(setting)
	}
	if unit, ok := lengthWords[w]; ok {
		if !p.hasNumber {
			return 0, fmt.Errorf("%q without a number before it", w)
		}
		length, taken := p.number*unit, 1
		p.hasNumber = false
		if len(words) >= 4 && words[1] == "and" && words[2] == "a" && words[3] == "half" {
			length, taken = length+unit/2, 4
		}
		return taken, p.addDistance(length)
	}
	if number, taken, ok := fanNumber(words); ok {
		if p.hasNumber {
			return 0, fmt.Errorf("two numbers in a row before %q", w)
		}
		p.number, p.hasNumber = number, true
		return taken, nil
	}
	if !idleWords[w] {
		return 0, fmt.Errorf("do not know the word %q", w)
	}
	return 1, nil
}

// fanNumber reads "two", "1.5", "half a", "one and a half".
func fanNumber(words []string) (number float64, taken int, ok bool) {
	number, ok = numberWords[words[0]]
	if !ok {
		var err error
		if number, err = strconv.ParseFloat(words[0], 64); err != nil || math.IsNaN(number) || math.IsInf(number, 0) {
			return 0, 0, false
		}
	}
	if words[0] == "half" && len(words) > 1 && (words[1] == "a" || words[1] == "an") {
		return number, 2, true
	}
	if len(words) >= 4 && words[1] == "and" && words[2] == "a" && words[3] == "half" {
		return number + 0.5, 4, true
	}
	return number, 1, true
}

func (p *fanParser) addFan(kind FanKind) error {
	f := Fan{Count: 1, Kind: kind, Distance: 1, Setting: Medium}
	if p.hasNumber {
		if p.number != math.Trunc(p.number) || p.number < 1 || p.number > mostFans {
			return fmt.Errorf("%g fans: expected a whole number from 1 to %d", p.number, mostFans)
		}
		f.Count, p.hasNumber = int(p.number), false
	}
	if len(p.fans) == mostFans {
		return fmt.Errorf("more than %d kinds of fan", mostFans)
	}
	p.hasDistance, p.hasChoice = p.hasWaitingDistance, p.hasWaitingChoice
	if p.hasWaitingDistance {
		f.Distance, p.hasWaitingDistance = p.distance, false
	}
	if p.hasWaitingChoice {
		f.Setting, p.hasWaitingChoice = p.choice, false
	}
	p.fans = append(p.fans, f)
	return nil
}

func (p *fanParser) addSetting(setting FanSetting) error {
	switch {
	case len(p.fans) > 0 && !p.hasChoice:
		p.fans[len(p.fans)-1].Setting, p.hasChoice = setting, true
	case !p.hasWaitingChoice:
		p.choice, p.hasWaitingChoice = setting, true
	default:
		return fmt.Errorf("two settings for one fan")
	}
	return nil
}

func (p *fanParser) addDistance(length float64) error {
	length = math.Round(100*length) / 100
	switch {
	case !(length >= nearestFan && length <= farthestFan):
		return fmt.Errorf("%g m away: expected %g to %g m", length, nearestFan, float64(farthestFan))
	case len(p.fans) > 0 && !p.hasDistance:
		p.fans[len(p.fans)-1].Distance, p.hasDistance = length, true
	case !p.hasWaitingDistance:
		p.distance, p.hasWaitingDistance = length, true
	default:
		return fmt.Errorf("two distances for one fan")
	}
	return nil
}

// finish checks that nothing was left over.
func (p *fanParser) finish() error {
	switch {
	case len(p.fans) == 0:
		return fmt.Errorf("no kind of fan in it")
	case p.hasNumber:
		return fmt.Errorf("the number %g belongs to nothing", p.number)
	case p.hasWaitingDistance:
		return fmt.Errorf("two distances for one fan")
	case p.hasWaitingChoice:
		return fmt.Errorf("two settings for one fan")
	}
	return nil
}

var (
	kindNames    = [...]string{Desk: "desk", Pedestal: "pedestal", Floor: "floor", Industrial: "industrial"}
	settingNames = [...]string{Low: "low", Medium: "medium", High: "high"}
	countNames   = [...]string{"no", "one", "two", "three", "four", "five", "six"}
)

// String says a fan back: "one pedestal fan, 1 m away, high".
func (f Fan) String() string {
	count, noun := strconv.Itoa(f.Count), "fans"
	if f.Count >= 0 && f.Count < len(countNames) {
		count = countNames[f.Count]
	}
	if f.Count == 1 {
		noun = "fan"
	}
	return fmt.Sprintf("%s %s %s, %g m away, %s", count, kindNames[f.Kind], noun, f.Distance, settingNames[f.Setting])
}

// DescribeFans says fans back in a form that ParseFan reads.
func DescribeFans(fans []Fan) string {
	if len(fans) == 0 {
		return "no fan"
	}
	said := make([]string, len(fans))
	for i, f := range fans {
		said[i] = f.String()
	}
	return strings.Join(said, ", and ")
}
