package form

import "strings"

// What a person can see of a rig, without knowing what it is called. The words
// are the answers a page offers; anything else is "I don't know".
const (
	AskPlug   = "plug"   // does it have a mains plug? yes, no
	AskHarder = "harder" // does it get harder by itself, uphill or on command? yes, no
	AskWheel  = "wheel"  // the back wheel: on, off, rollers (the bike stands free on drums), no_bike (a machine of its own)
	AskWatts  = "watts"  // what shows watts: nothing, trainer, crank, pedal, hub, table (read off a maker's table)
)

// Answers are the answers to each question, in the order to ask.
var Answers = []struct {
	Question string
	Words    []string
}{
	{AskWheel, []string{"on", "off", "rollers", "no_bike"}},
	{AskPlug, []string{"yes", "no"}},
	{AskHarder, []string{"yes", "no"}},
	{AskWatts, []string{"nothing", "trainer", "crank", "pedal", "hub", "table"}},
}

// trainerRules say what a trainer is taken as, the first that fits; "" fits
// every answer. Our judgement, and where the answers leave it open the trainer
// that promises less: a plain one only makes the forecast wider, while watts
// that nothing holds would be wrong advice.
var trainerRules = []struct{ wheel, plug, harder, watts, kind, why string }{
	{"no_bike", "", "", "", "bike", "a machine of its own is an indoor bike"},
	{"", "", "yes", "", "controllable", "what gets harder by itself is controllable"},
	{"rollers", "", "", "", "rollers", "a bike that stands free on drums is on rollers"},
	{"", "", "no", "", "plain", "what never gets harder by itself is a plain trainer"},
	{"", "yes", "", "trainer", "controllable", "a trainer with a plug that shows its own watts is most likely controllable"},
	{"", "", "", "", "plain", "as long as it is not known that it gets harder by itself, it is taken as a plain trainer"},
}

// sourceRules say what power_source.kind becomes, "" being left out.
var sourceRules = []struct{ watts, trainer, kind string }{
	{"crank", "", "crank"},
	{"pedal", "", "pedal"},
	{"hub", "", "hub"},
	{"trainer", "", "trainer"},
	{"nothing", "", "none"},
	{"table", "plain", "curve"},
	{"table", "rollers", "curve"},
	{"", "", ""}, // the reader's usual: the trainer's own watts if it can have any
}

// RigFromAnswers turns what can be seen of a rig into values of a rig file,
// trainer.kind and power_source.kind, and says why. Every answer may be
// missing or "I don't know".
func RigFromAnswers(answers map[string]string) (values map[string]string, why string) {
	a := map[string]string{}
	for _, q := range Answers {
		if r := readWord(q.Words, answers[q.Question]); r.wrong == "" {
			a[q.Question] = r.raw
		}
	}
	fits := func(rule, answer string) bool { return rule == "" || rule == answer }
	values = map[string]string{}
	for _, r := range trainerRules {
		if fits(r.wheel, a[AskWheel]) && fits(r.plug, a[AskPlug]) && fits(r.harder, a[AskHarder]) && fits(r.watts, a[AskWatts]) {
			values["trainer.kind"], why = r.kind, r.why
			break
		}
	}
	for _, r := range sourceRules {
		if fits(r.watts, a[AskWatts]) && fits(r.trainer, values["trainer.kind"]) {
			if r.kind != "" {
				values["power_source.kind"] = r.kind
			}
			break
		}
	}
	return values, strings.ToUpper(why[:1]) + why[1:] + "."
}

// AnswersFromRig are answers that lead to a rig file's values, for editing;
// what its values do not tell is left out.
func AnswersFromRig(values map[string]string) map[string]string {
	out := map[string]string{}
	switch values["trainer.kind"] {
	case "bike":
		out[AskWheel] = "no_bike"
	case "controllable":
		out[AskHarder] = "yes"
	case "rollers":
		out[AskWheel] = "rollers"
	case "plain":
		out[AskHarder] = "no"
	}
	switch kind := values["power_source.kind"]; kind {
	case "crank", "pedal", "hub", "trainer":
		out[AskWatts] = kind
	case "none":
		out[AskWatts] = "nothing"
	case "curve":
		out[AskWatts] = "table"
	}
	return out
}
