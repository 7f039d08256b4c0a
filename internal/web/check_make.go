package web

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"time"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
	"chainline/session"
)

// Reports of rig checks: made, kept, found again.

// looked is what a report is made of.
type looked struct {
	looks   []service.CheckLook
	from    []string // in words
	ride    string   // its ID; empty for files
	begun   time.Time
	bench   bool
	devices []service.CheckDevice
}

// makeCheck looks at recordings and keeps the report.
func (s *Server) makeCheck(ctx context.Context, a checkAsk, parts briefParts, l looked) (store.RigCheck, error) {
	q := service.CheckRequest{Brief: s.checkBrief(parts), RigName: parts.nameOf(store.Rig), Looks: l.looks, From: l.from, Begun: l.begun, Bench: l.bench,
		Devices: l.devices, TrueCircumference: a.WheelMM / 1000, Host: a.Host}
	err := a.tell(&q)
	if err != nil {
		return store.RigCheck{}, err
	}
	if q.Past, err = s.pastRides(parts.nameOf(store.Rider), l); err != nil {
		return store.RigCheck{}, err
	}
	if q.Before, err = s.checkBefore(ctx, a.Rig); err != nil {
		return store.RigCheck{}, err
	}
	if a.Host != "" {
		if q.Rounds, err = service.MeasureLink(ctx, a.Host); err != nil {
			return store.RigCheck{}, err
		}
	}
	sheet, err := service.CheckRig(ctx, q)
	if err != nil {
		return store.RigCheck{}, err
	}
	report, err := json.Marshal(sheet)
	if err != nil {
		return store.RigCheck{}, err
	}
	return s.store.PutRigCheck(ctx, store.RigCheck{Made: s.now(), Title: checkTitle(q.RigName), RiderID: a.Rider, RigID: a.Rig, Ride: l.ride, Report: report})
}

// mostPastRides are looked at for a rider's history.
const mostPastRides = 12

// pastRides are a rider's earlier rides, the newest first. What cannot be read
// is left out: a history is never needed.
func (s *Server) pastRides(rider string, l looked) ([]service.CheckLook, error) {
	if s.live == nil || rider == "" {
		return nil, nil
	}
	done, err := s.live.Finished()
	if err != nil {
		return nil, err
	}
	var out []service.CheckLook
	for _, x := range done {
		if x.Rider != rider || x.ID == l.ride || x.Bench != l.bench || len(out) == mostPastRides {
			continue
		}
		if rec, err := s.recordingOf(x.ID); err == nil {
			out = append(out, service.CheckLook{Recording: rec})
		}
	}
	return out, nil
}

func (s *Server) recordingOf(id string) (*recording.Recording, error) {
	path, err := s.live.File(id, "recording")
	if err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return recording.Read(io.LimitReader(f, recording.MaxStored))
}

// checkBefore is the last report of a rig, nil if there is none.
func (s *Server) checkBefore(ctx context.Context, rig string) (*service.CheckSheet, error) {
	all, err := s.store.RigChecks(ctx, rig)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	_, sheet, err := s.sheetOf(ctx, all[0].ID)
	if err != nil {
		return nil, nil //nolint:nilerr // of another version: nothing to compare with
	}
	return &sheet, nil
}

// sheetOf is a check with its report.
func (s *Server) sheetOf(ctx context.Context, id string) (store.RigCheck, service.CheckSheet, error) {
	var sheet service.CheckSheet
	c, err := s.store.RigCheck(ctx, id)
	if errors.Is(err, store.ErrNotFound) {
		return c, sheet, notFound("There is no such check (any more).")
	}
	if err != nil {
		return c, sheet, err
	}
	if json.Unmarshal(c.Report, &sheet) != nil || sheet.Schema != service.CheckSchema {
		return c, sheet, refuse(http.StatusConflict, "This report was written by another version of the program and cannot be shown by this one.")
	}
	return c, sheet, nil
}

// reportOf makes the report of a ride that has ended.
func (s *Server) reportOf(ctx context.Context, a checkAsk, parts briefParts, id string) (store.RigCheck, error) {
	path, err := s.live.File(id, "journal")
	if err != nil {
		return store.RigCheck{}, err
	}
	read, err := ride.Load(path)
	if err != nil {
		return store.RigCheck{}, &problem.Error{Kind: problem.Failed, Message: "this ride cannot be read: " + err.Error(), Err: err}
	}
	l := looked{looks: []service.CheckLook{service.CheckOfRide(read)}, ride: id, begun: read.Setup.Begun, bench: read.Setup.Bench,
		from: []string{rideFrom(read)}, devices: s.rememberedDevices(ctx)}
	return s.makeCheck(ctx, a, parts, l)
}

func rideFrom(r ride.Read) string {
	from := "the ride ‘" + r.Setup.Title + "’"
	if isCheck(r.Setup) {
		from = "the guided check"
	}
	if r.Setup.Bench {
		from += ", on a simulated rig"
	}
	if r.Recording.Whole {
		return from
	}
	return from + ", which is not whole"
}

func isCheck(set ride.Setup) bool {
	return set.Session != nil && session.IsRigCheck(set.Session.Session)
}

// rememberedDevices are all that were ever connected.
func (s *Server) rememberedDevices(ctx context.Context) []service.CheckDevice {
	text, err := s.store.Setting(ctx, live.SettingDevices)
	if err != nil || text == "" {
		return nil
	}
	var all []sensor.Setting
	if json.Unmarshal([]byte(text), &all) != nil {
		return nil
	}
	var out []service.CheckDevice
	for _, d := range all {
		name := d.Name
		if name == "" {
			name = d.Device
		}
		out = append(out, service.CheckDevice{ID: d.Device, Name: name, Firmware: d.Firmware})
	}
	return out
}

// checkAtOnce rides the check on a simulated rig as fast as it can.
func (s *Server) checkAtOnce(ctx context.Context, a checkAsk, parts briefParts, riding service.Riding, choice live.Choice) (store.RigCheck, error) {
	var devices []service.CheckDevice
	sum, err := s.live.Fast(ctx, riding, choice, func(c *ride.Core) { devices = service.CheckDevices(c) })
	if err != nil {
		return store.RigCheck{}, err
	}
	path, err := s.live.File(sum.ID, "journal")
	if err != nil {
		return store.RigCheck{}, err
	}
	read, err := ride.Load(path)
	if err != nil {
		return store.RigCheck{}, err
	}
	return s.makeCheck(ctx, a, parts, looked{looks: []service.CheckLook{service.CheckOfRide(read)}, ride: sum.ID, begun: read.Setup.Begun, bench: true,
		from: []string{rideFrom(read)}, devices: devices})
}
