package web

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"time"

	"chainline/internal/live"
	"chainline/internal/ride"
)

// RideSum is what came of a ride.
type RideSum struct {
	When    string
	Lines   [][2]string
	Files   [][2]string // kind, words
	Missing []string
}

// listRides fills in the rides there are.
func (s *Server) listRides(p *RideChoosePage, d dates) error {
	for _, x := range s.live.Rides() {
		p.Running = append(p.Running, RideLine{ID: x.ID, Title: x.Riding.Setup.Title, For: x.Riding.Setup.Rider.Name, Says: string(x.Engine.Snapshot().Stage)})
	}
	p.Together = s.goingTogether()
	left, err := s.live.Unfinished()
	if err != nil {
		return err
	}
	for _, x := range left {
		p.Left = append(p.Left, rideLine(x, d))
	}
	done, err := s.live.Finished()
	if err != nil {
		return err
	}
	for _, x := range done[:min(len(done), mostRidesListed)] {
		line := rideLine(x, d)
		line.Files = s.filesOf(x.ID)
		p.Done = append(p.Done, line)
	}
	return nil
}

const mostRidesListed = 50

func rideLine(x live.Summary, d dates) RideLine {
	t := x.Totals
	says := fmt.Sprintf("%s, %.0f kJ, %.0f W on average", rideTime(t.Moving), t.WorkJ/1000, t.MeanW)
	if x.Bench {
		says += ", on a simulated rig"
	}
	return RideLine{ID: x.ID, Title: x.Title, For: x.Rider, When: d.day(x.Begun) + ", " + d.clock(x.Begun), Clock: d.clock(x.Begun), Says: says}
}

// rideDone shows what came of a ride.
func (s *Server) rideDone(w http.ResponseWriter, r *http.Request, id string) error {
	sum, err := s.live.Summary(id)
	if err != nil {
		return notFound("There is no such ride.")
	}
	p := &RidePage{Base: rideBase(sum.Title), ID: id, Of: sum.Rider, Bench: sum.Bench, Sum: NewRideSum(sum)}
	p.Sum.When = datesOf(r).day(sum.Begun) + ", " + datesOf(r).clock(sum.Begun)
	p.V.Stage = string(ride.Ended)
	if !sum.Ended {
		p.V.Stage = "left"
	}
	p.Sum.Files = s.filesOf(id)
	return s.show(w, r, http.StatusOK, p)
}

// filesOf are the files there are of a ride.
func (s *Server) filesOf(id string) [][2]string {
	var out [][2]string
	for _, kind := range []string{"fit", "csv", "recording"} {
		if _, err := s.live.File(id, kind); err == nil {
			out = append(out, [2]string{kind, rideFiles[kind]})
		}
	}
	return out
}

var rideFiles = map[string]string{"fit": "FIT activity", "csv": "Table, a row a second (CSV)", "recording": "Everything that was measured"}

// NewRideSum is what came of a ride, in lines.
func NewRideSum(x live.Summary) *RideSum {
	t := x.Totals
	out := &RideSum{Missing: x.Missing}
	add := func(what, value string) { out.Lines = append(out.Lines, [2]string{what, value}) }
	add("Ridden", rideTime(t.Moving))
	add("Work", fmt.Sprintf("%.0f kJ", t.WorkJ/1000))
	add("Power on average", fmt.Sprintf("%.0f W", t.MeanW))
	if t.DistanceM > 0 {
		add("Distance", fmt.Sprintf("%.1f km", t.DistanceM/1000))
	}
	if t.MeanHeart > 0 {
		add("Heart on average", fmt.Sprintf("%.0f", t.MeanHeart))
	}
	if t.MeanCadence > 0 {
		add("Cadence on average", fmt.Sprintf("%.0f rpm", t.MeanCadence))
	}
	return out
}

func (s *Server) rideFile(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	kind := r.PathValue("kind")
	if _, ok := rideFiles[kind]; !ok {
		return notFound("A ride has no such file.")
	}
	path, err := s.live.File(r.PathValue("id"), kind)
	if err != nil {
		return notFound("A ride has no such file.")
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	media := map[string]string{"fit": "application/vnd.ant.fit", "csv": "text/csv; charset=utf-8", "recording": "application/octet-stream"}[kind]
	w.Header().Set("Content-Type", media)
	w.Header().Set("Content-Disposition", `attachment; filename="`+r.PathValue("id")+"."+kind+`"`)
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

func (s *Server) goOnRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	id := r.PathValue("id")
	sum, err := s.live.Summary(id)
	if err != nil {
		return notFound("There is no such ride.")
	}
	kind := "radio"
	if sum.Bench {
		kind = "bench"
	}
	if _, err := s.live.GoOn(context.WithoutCancel(r.Context()), id, live.Choice{Kind: kind, Seed: uint64(s.now().UnixNano())}); err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+id, "")
}

func (s *Server) setRideAside(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	if err := s.live.SetAside(r.PathValue("id")); err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+r.PathValue("id"), "The ride is ended as it is.")
}

func (s *Server) askDeleteRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	sum, err := s.live.Summary(r.PathValue("id"))
	if err != nil {
		return notFound("There is no such ride.")
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: rideBase("Delete " + sum.Title + "?"), Action: "/ride/" + sum.ID + "/delete", Keep: "/ride/" + sum.ID,
		Button: "Delete this ride", Says: "The ride of " + datesOf(r).day(sum.Begun) + ", " + datesOf(r).clock(sum.Begun) + " and its files are really deleted; there is no way back."})
}

func (s *Server) deleteRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	if err := s.live.Delete(r.PathValue("id")); err != nil {
		return err
	}
	if s.library != nil {
		if err := s.library.DeleteLive(r.Context(), r.PathValue("id")); err != nil {
			return err
		}
	}
	return s.see(w, r, "/ride", "The ride is deleted.")
}
