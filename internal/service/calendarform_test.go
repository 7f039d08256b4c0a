package service

import (
	"strings"
	"testing"
	"time"
)

func TestFormDoubtsHardEventsThatComeSoon(t *testing.T) {
	now := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	for name, x := range map[string]struct {
		form  *RiderForm
		kind  string
		ahead time.Duration
		fits  string
		says  string
	}{
		"nothing known": {nil, "mass", 10 * time.Hour, "yes", ""},
		"fresh":         {&RiderForm{0.9, 0.05, -0.1, 0.2}, "mass", 10 * time.Hour, "yes", "does not outweigh"},
		"surely tired":  {&RiderForm{0.8, -0.3, -0.5, -0.1}, "mass", 10 * time.Hour, "perhaps", "fairly sure"},
		"perhaps tired": {&RiderForm{0.8, -0.2, -0.5, 0.1}, "time-trial", 60 * time.Hour, "perhaps", "not sure of it"},
		"far off":       {&RiderForm{0.8, -0.3, -0.5, -0.1}, "mass", 200 * time.Hour, "yes", ""},
		"an easy ride":  {&RiderForm{0.8, -0.3, -0.5, -0.1}, "group", 10 * time.Hour, "yes", ""},
	} {
		e := CalendarEvent{Kind: x.kind, Start: now.Add(x.ahead), End: now.Add(x.ahead + time.Hour)}
		worst, said := 0, ""
		e.judgeForm(x.form, now, func(weight int, format string, args ...any) { worst, said = max(worst, weight), said+format })
		if fits := []string{"yes", "perhaps", "no"}[worst]; fits != x.fits || !strings.Contains(said, x.says) || x.says == "" && said != "" {
			t.Errorf("%s: %s, %q", name, fits, said)
		}
	}
}
