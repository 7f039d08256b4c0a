package web

import (
	"context"
	"path"

	"chainline/demo"
	"chainline/internal/store"
)

// demoFiles are the invented club's objects: IDs that stay the same, so that
// loading it twice leaves one club.
var demoFiles = []struct {
	id, file, name string
	kind           store.Kind
}{
	{"demo-newcomer", "newcomer.yaml", "Aoife Tallon", store.Rider},
	{"demo-regular", "regular.yaml", "Bram Castelein", store.Rider},
	{"demo-racer", "racer.yaml", "Ilse Verdonk", store.Rider},
	{"demo-newcomer-rig", "newcomer-rig.yaml", "Aoife's box room", store.Rig},
	{"demo-regular-rig", "regular-rig.yaml", "Bram's bedroom", store.Rig},
	{"demo-racer-rig", "racer-rig.yaml", "Ilse's cool room", store.Rig},
	{"demo-road", "road.yaml", "Club road bike", store.Road},
	{"demo-harbour-ridge", "harbour-ridge.gpx", "Harbour Ridge", store.Course},
	{"demo-two-mills", "two-mills.csv", "Two Mills", store.Course},
	{"demo-reservoir", "", "Round the reservoir", store.Course},
	{"demo-time-trial", "harbour-time-trial.yaml", "Harbour Ridge against the clock", store.Event},
	{"demo-hill-race", "tuesday-hill-race.yaml", "Two Mills Tuesday", store.Event},
	{"demo-harbour-race", "harbour-race.yaml", "Harbour Ridge mass start", store.Event},
}

// demoSketch is the newcomer's course: all a route list shows.
const demoSketch = "name: Round the reservoir\ndistance_km: 21.4\nascent_m: 310\nmain_climb: {length_km: 3.2, gradient_percent: 5.5}\n"

var demoMedia = map[string]string{".gpx": "application/gpx+xml", ".csv": "text/csv"}

func demoObjects() ([]store.Object, error) {
	var all []store.Object
	for _, f := range demoFiles {
		o := store.Object{ID: f.id, Kind: f.kind, Name: f.name, Text: demoSketch, Demo: true}
		if f.file != "" {
			data, err := demo.Files.ReadFile(f.file)
			if err != nil {
				return nil, err
			}
			o.Text = string(data)
			if media := demoMedia[path.Ext(f.file)]; media != "" {
				o.Text, o.Original = "", &store.Original{Filename: f.file, Media: media, Bytes: data}
			}
		}
		all = append(all, o)
	}
	return all, nil
}

// loadDemo keeps the invented club, as it was invented.
func (s *Server) loadDemo(ctx context.Context) error {
	all, err := demoObjects()
	if err != nil {
		return err
	}
	for _, o := range all {
		if old, err := s.store.Object(ctx, o.ID); err == nil && old.Name == o.Name && old.Text == o.Text && old.Demo {
			continue // so that it does not look changed
		}
		if _, err := s.store.Put(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// hasDemo is whether something of the invented club is kept.
func (s *Server) hasDemo(ctx context.Context) (bool, error) {
	for _, kind := range store.Kinds {
		all, err := s.store.Objects(ctx, kind)
		if err != nil {
			return false, err
		}
		for _, o := range all {
			if o.Demo {
				return true, nil
			}
		}
	}
	return false, nil
}
