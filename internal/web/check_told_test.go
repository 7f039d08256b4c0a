package web_test

import (
	"encoding/json"
	"maps"
	"math"
	"math/rand/v2"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
)

// longRide is forty minutes whose watts are multiplied.
func longRide(gain float64) *recording.Recording {
	rnd := rand.New(rand.NewPCG(11, uint64(1000*gain)))
	r := &recording.Recording{Title: "Evening", StartUnix: 1.7e9, Sport: "indoor cycling", Whole: true}
	p := recording.Channel{Quantity: recording.Power, Source: "recorded"}
	c := recording.Channel{Quantity: recording.Cadence, Source: "recorded"}
	for i := range 2400 {
		p.Seconds, p.Values = append(p.Seconds, float64(i)), append(p.Values, math.Round(gain*(120+40*float64(i/120%5))*(1+0.03*rnd.NormFloat64())))
		c.Seconds, c.Values = append(c.Seconds, float64(i)), append(c.Values, 85+2*rnd.NormFloat64())
	}
	r.Channels = append(r.Channels, p, c)
	return r
}

// What is told on the form goes into the check, and ends the disagreement of
// two meters; what is wrong with it is said beside its field.
func TestCheckFormTellsOfAClimb(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	form := map[string]string{"rider": onlyOne(t, db, store.Rider).ID, "rig": onlyOne(t, db, store.Rig).ID, "what": "files", "one-leg": "yes", "one-leg-name": "second.recording", "flywheel": "12", "flywheel-doubt": "1,5",
		"climb-source": "First.recording", "climb-measures": "crank", "climb-watts": "241", "climb-mass-kg": "80", "climb-mass-doubt-kg": "0,4", "climb-ascent-m": "400", "climb-length-km": "4",
		"climb-time-s": "25:00", "climb-temperature-c": "15", "climb-height-m": "500", "climb-wind": "calm"}
	files := map[string][]byte{"first": stored(t, longRide(1.065)), "second": stored(t, longRide(1))}
	for says, wrong := range map[string][2]string{
		"Behind a colon stand at most 59 minutes or seconds":       {"climb-time-s", "25:99"},
		"“heavy” is not a number; write one from 30 to 300 kg.":    {"climb-mass-kg", "heavy"},
		"A climb can be judged only with this.":                    {"climb-watts", ""},
		"That is a climb of 100 %; at most 40 % is possible.":      {"climb-length-km", "0.4"},
		"The doubt is larger than the inertia":                     {"flywheel-doubt", "13"},
		"Write the inertia too":                                    {"flywheel", ""},
		"201 kg is more than the most possible here, 200 kg":       {"flywheel", "201"},
		"A wheel&#39;s circumference is 300 to 5000 mm":            {"wheel", "21"},
		"Are these 28 seconds or 28 minutes? Write 28 s or 28 min": {"climb-time-s", "28"},
	} {
		bad := maps.Clone(form)
		bad[wrong[0]] = wrong[1]
		status, _, body := v.sent(t, "/check", bad, files)
		if status != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, status)
		}
		wantIn(t, body, says, `value="First.recording"`)
	}
	sheetOf := func(form map[string]string) (s service.CheckSheet) {
		t.Helper()
		status, head, body := v.sent(t, "/check", form, files)
		if status != http.StatusSeeOther {
			t.Fatalf("%d %.600s", status, body)
		}
		_, _, body = v.ask(t, "GET", head.Get("Location")+"/json", "", nil)
		if err := json.Unmarshal([]byte(body), &s); err != nil {
			t.Fatal(err)
		}
		return s
	}
	sheet := sheetOf(form)
	if got := sheet.Verdicts[0]; got.Source != "recorded" || got.Verdict != "use corrected" || got.Error == nil || math.Abs(got.Error.Mean-0.04) > 0.02 {
		t.Errorf("%+v", got)
	}
	if !strings.Contains(strings.Join(sheet.From, "; "), "a climb outdoors") {
		t.Errorf("%q", sheet.From)
	}
	form["climb-source"] = "pedals"
	sheet = sheetOf(form)
	said := false
	for _, u := range sheet.Unsaid {
		said = said || u.Source == "pedals" && strings.Contains(u.Because, "there are: recorded")
	}
	if !said {
		t.Errorf("a climb with a meter that is not there: %+v", sheet.Unsaid)
	}
}

// Whoever chose imperial units is asked in them, and what is wrong is said in
// them; what was typed comes back as it was typed, and the climb that is kept
// is the same as for whoever typed it in metric units.
func TestCheckFormAsksInTheirUnits(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	unitsOf := func(body string) (out []string) {
		for _, name := range []string{"mass-kg", "mass-doubt-kg", "ascent-m", "length-km", "temperature-c", "height-m"} {
			_, rest, _ := strings.Cut(body, `name="climb-`+name+`"`)
			out = append(out, regexp.MustCompile(`class="unit"[^>]*>([^<]*)<`).FindStringSubmatch(rest)[1])
		}
		return out
	}
	_, _, body := v.ask(t, "GET", "/check", "", nil)
	if got := strings.Join(unitsOf(body), " "); got != "kg kg m km °C m" {
		t.Errorf("asked in %s", got)
	}
	wantIn(t, body, "Left empty: 1 kg.", "40 m high")
	if status, _, _ := v.ask(t, "POST", "/settings/units", "units=imperial", nil); status != http.StatusSeeOther {
		t.Fatal(status)
	}
	_, _, body = v.ask(t, "GET", "/check", "", nil)
	if got := strings.Join(unitsOf(body), " "); got != "lb lb ft mi °F ft" {
		t.Errorf("asked in %s", got)
	}
	wantIn(t, body, "Left empty: 2.2 lb.", "131 ft high")
	for _, says := range saidIn(body, metricSaid, metricHead) {
		t.Errorf("the form says to an imperial visitor: %s", says)
	}
	form := map[string]string{"rider": onlyOne(t, db, store.Rider).ID, "rig": onlyOne(t, db, store.Rig).ID, "what": "files", "flywheel": "12 kg", "flywheel-doubt": "500",
		"climb-source": "meter", "climb-watts": "241", "climb-mass-kg": "20", "climb-ascent-m": "1,312 ft", "climb-length-km": "2.5", "climb-time-s": "25:00", "climb-temperature-c": "150", "climb-height-m": "1640"}
	status, _, body := v.sent(t, "/check", form, nil)
	if status != http.StatusUnprocessableEntity {
		t.Fatal(status)
	}
	wantIn(t, body, "20 lb is less than the least possible here, 67 lb", "150 °F is more than the most possible here, 122 °F", "500 lb is more than the most possible here, 440 lb",
		`value="12 kg"`, `value="500"`, `value="1,312 ft"`, `value="2.5"`, `value="1640"`, `value="20"`)
}

// A recording of another program is looked at too, whatever its name says.
func TestCheckOfACSV(t *testing.T) {
	t.Parallel()
	v, db, _ := checkSite(t)
	text := "time_s,power_w,cadence_rpm\n"
	for i := range 600 {
		text += strconv.Itoa(i) + "," + strconv.Itoa(150+i%7) + ",85\n"
	}
	status, head, body := v.sent(t, "/check", map[string]string{"rider": onlyOne(t, db, store.Rider).ID, "rig": onlyOne(t, db, store.Rig).ID, "what": "files"}, map[string][]byte{"first": []byte(text)})
	if status != http.StatusSeeOther {
		t.Fatalf("%d %.400s", status, body)
	}
	_, _, body = v.ask(t, "GET", head.Get("Location"), "", nil)
	wantIn(t, body, "first.recording", "10 min looked at")
}
