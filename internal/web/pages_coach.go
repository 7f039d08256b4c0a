package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Several riders side by side, for who looks after them.

// CoachPage shows riders beside each other, those who need attention first.
type CoachPage struct {
	Base
	Empty  *Empty
	Riders []CoachRider
	PerKg  bool // watts per kilogram were asked for
}

// CoachRider is a rider as a coach sees one.
type CoachRider struct {
	Name, Season string
	Attention    []string
	Numbers      []MovedLine
	Lines        [][2]string
	Brief        string // path of the newest
	NewBrief     string
	Check        string // path to check the rig
	Wrong        string
}

// Template names the page's template.
func (*CoachPage) Template() string { return "coach.html" }

// CoachLook is what is known of a rider for a coach.
type CoachLook struct {
	Rider  store.Object
	Season service.DebriefSeason
	Rig    string // name of the rig that is ridden most lately; empty: none
	RigID  string
	Fans   int // -1: not told
	Check  *store.RigCheck
	Brief  *store.Brief
	Last   *service.RideRow
	Asks   int // rides of the last weeks without an answer
	MassKg float64
	Adult  bool // known to be 18 or more
	Today  time.Time
}

// What asks for a coach's attention; our judgement.
const (
	coachQuiet     = 14 * 24 * time.Hour // without a ride
	coachOldCheck  = 60 * 24 * time.Hour
	coachOldBrief  = 14 * 24 * time.Hour
	coachThin      = 0.20 // width of the threshold's interval, as a share of it
	coachFell      = 0.03 // fall of critical power over the season
	coachAnswers   = 3    // rides without an answer
	coachAnswersIn = 28 * 24 * time.Hour
	adultYears     = 18
)

func (s *Server) coach(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	riders, err := s.store.Objects(r.Context(), store.Rider)
	if err != nil {
		return err
	}
	p := &CoachPage{Base: ridesBase("Riders side by side"), PerKg: r.URL.Query().Get("per-kg") != ""}
	var all []CoachLook
	for _, o := range riders {
		l, err := s.coachLook(r.Context(), o)
		if _, ok := errors.AsType[*problem.Error](err); ok {
			p.Riders = append(p.Riders, CoachRider{Name: o.Name, Season: "/riders/" + o.ID, Wrong: oneLine(err)})
			continue
		} else if err != nil {
			return err
		}
		all = append(all, l)
	}
	p.Fill(all, datesOf(r))
	return s.show(w, r, http.StatusOK, p)
}

// coachLook gathers what there is of a rider.
func (s *Server) coachLook(ctx context.Context, o store.Object) (l CoachLook, err error) {
	l = CoachLook{Rider: o, Today: s.now(), Fans: -1}
	if l.Season, err = s.library.Season(ctx, o.ID, time.Time{}); err != nil {
		return l, err
	}
	if f, err := input.ReadRider(o.Name, strings.NewReader(o.Text)); err == nil {
		l.MassKg = f.Mass
		l.Adult = f.BirthYear.Known && s.now().Year()-f.BirthYear.Value > adultYears
	}
	rides, err := s.library.Rides(ctx, o.ID, service.RideFilter{Limit: 40})
	if err != nil {
		return l, err
	}
	for i, row := range rides {
		if i == 0 {
			l.Last = &rides[0]
		}
		if l.RigID == "" {
			l.RigID = row.RigID
		}
		if row.Answer == "" && row.Repeats == "" && !row.Left && !row.Bench && s.now().Sub(row.Start) < coachAnswersIn {
			l.Asks++
		}
	}
	briefs, err := s.store.Briefs(ctx, o.ID)
	if err != nil {
		return l, err
	}
	if len(briefs) > 0 {
		l.Brief = &briefs[0]
		if l.RigID == "" {
			l.RigID = briefs[0].RigID
		}
	}
	return l, s.coachRig(ctx, &l)
}

func (s *Server) coachRig(ctx context.Context, l *CoachLook) error {
	if l.RigID == "" {
		return nil
	}
	rig, err := s.store.Object(ctx, l.RigID)
	if errors.Is(err, store.ErrNotFound) {
		l.RigID = ""
		return nil
	} else if err != nil {
		return err
	}
	l.Rig = rig.Name
	if f, err := input.ReadRig(rig.Name, strings.NewReader(rig.Text)); err == nil && f.Room.Fans != nil {
		l.Fans = len(f.Room.Fans)
	}
	checks, err := s.store.RigChecks(ctx, l.RigID)
	if err == nil && len(checks) > 0 {
		l.Check = &checks[0]
	}
	return err
}

// Fill lays riders out, those with most to attend to first.
func (p *CoachPage) Fill(all []CoachLook, d dates) {
	for _, l := range all {
		p.Riders = append(p.Riders, coachRider(l, p.PerKg, d))
	}
	slices.SortStableFunc(p.Riders, func(a, b CoachRider) int { return len(b.Attention) - len(a.Attention) })
	if len(p.Riders) == 0 {
		p.Empty = &Empty{Says: "There is no rider yet.", Why: "Add the riders you look after, and bring in their rides.", Path: "/riders/new", Link: "Add a rider"}
	}
}

func coachRider(l CoachLook, perKg bool, d dates) CoachRider {
	id := l.Rider.ID
	c := CoachRider{Name: l.Rider.Name, Season: "/season/" + id, Attention: attention(l, d), NewBrief: "/briefs/new?rider=" + id}
	for _, n := range l.Season.Numbers {
		if n.Name == "threshold" || n.Name == "critical power" || strings.HasPrefix(n.Name, "W") {
			c.Numbers = append(c.Numbers, movedLine(n))
		}
	}
	add := func(what, says string) { c.Lines = append(c.Lines, [2]string{what, says}) }
	if t := thresholdOf(l.Season); perKg && l.Adult && l.MassKg > 0 && t.Mean > 0 {
		add("Threshold per kilogram", fmt.Sprintf("%.1f W/kg", t.Mean/l.MassKg))
	}
	if l.Last != nil {
		add("Last ride", d.day(l.Last.Start)+", "+rideTime(l.Last.Seconds))
	} else {
		add("Last ride", "none is kept")
	}
	if r := l.Season.Response; r != nil && len(r.Weeks) > 0 {
		add("Last seven days", fmt.Sprintf("%.1f th", r.Weeks[len(r.Weeks)-1].Load))
	}
	switch {
	case l.RigID == "":
		add("Rig", "none is known")
	case l.Check == nil:
		add("Rig", l.Rig+", never checked")
		c.Check = checkAgain(id, l.RigID)
	default:
		add("Rig", l.Rig+", checked "+d.day(l.Check.Made))
		c.Check = checkAgain(id, l.RigID)
	}
	add("Fan", map[int]string{-1: "not told", 0: "none", 1: "one"}[min(l.Fans, 1)])
	if l.Fans > 1 {
		c.Lines[len(c.Lines)-1][1] = fmt.Sprint(l.Fans)
	}
	if l.Brief != nil {
		c.Brief = "/briefs/" + l.Brief.ID
		add("Brief", l.Brief.Title+", handed out "+d.day(l.Brief.Made))
	} else {
		add("Brief", "none was handed out")
	}
	return c
}

func thresholdOf(s service.DebriefSeason) (t struct{ Mean, Low, High float64 }) {
	for _, n := range s.Numbers {
		if n.Name == "threshold" {
			t.Mean, t.Low, t.High = n.After.Mean, n.After.Low80, n.After.High80
		}
	}
	return t
}

// attention is why a rider needs some, one sentence each.
func attention(l CoachLook, d dates) (out []string) {
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	if r := l.Season.Response; r != nil && r.Caution != "" {
		add("The load rises fast: %s", r.Caution)
	}
	if l.Last != nil && l.Last.Dated && l.Today.Sub(l.Last.Start) > coachQuiet {
		add("No ride since %s.", d.day(l.Last.Start))
	}
	for _, n := range l.Season.Numbers {
		if n.Name == "critical power" && n.Before.Mean > 0 && n.After.Mean < (1-coachFell)*n.Before.Mean {
			add("Critical power is now taken as %.0f W, %.0f W less than when the season began.", n.After.Mean, n.Before.Mean-n.After.Mean)
		}
	}
	switch t := thresholdOf(l.Season); {
	case l.Season.Rides == 0:
		add("Nothing was recorded: what is known rests on what was told.")
	case t.Mean > 0 && t.High-t.Low > coachThin*t.Mean:
		add("The evidence is thin: threshold somewhere between %.0f and %.0f W. A test or a hard ride with an answer would narrow it.", t.Low, t.High)
	}
	if l.Asks >= coachAnswers {
		add("%d rides of the last four weeks have no answer to ‘could you have gone harder?’", l.Asks)
	}
	switch {
	case l.RigID != "" && l.Check == nil:
		add("The rig was never checked.")
	case l.Check != nil && l.Today.Sub(l.Check.Made) > coachOldCheck:
		add("The rig was last checked on %s.", d.day(l.Check.Made))
	}
	if l.RigID != "" && l.Fans == 0 {
		add("There is no fan in the room.")
	}
	if l.Brief == nil || l.Today.Sub(l.Brief.Made) > coachOldBrief {
		add("No brief was handed out in the last two weeks.")
	}
	return out
}
