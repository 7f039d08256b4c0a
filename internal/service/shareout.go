package service

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"sort"
	"strings"
	"time"

	"chainline/course"
	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/recording"
)

// WriteRide writes a ride that is kept, as it is looked at, as fit, gpx, csv,
// recording, or json: its debrief.
func (a *App) WriteRide(ctx context.Context, w io.Writer, rideID, kind string) error {
	sheet, err := a.RideDebrief(ctx, rideID)
	if err != nil {
		return err
	}
	rec := sheet.Recording
	switch kind {
	case "fit":
		return fitfile.Activity(w, rec, fitfile.Options{})
	case "csv":
		return rec.WriteCSV(w, 1)
	case "recording":
		return recording.Write(w, rec)
	case "json":
		_, err := w.Write(append(jsonOf(sheet), '\n'))
		return err
	case "gpx":
		k, err := a.ride(ctx, rideID)
		if err != nil {
			return err
		}
		track, err := a.trackOf(ctx, k.CourseID)
		if err != nil {
			return err
		}
		return WriteGPX(w, rec, track)
	}
	return problem.Bad("a ride is not written as %.20q; expected fit, gpx, csv, recording or json", kind)
}

// trackOf is the course's line on the map; nil: none is known.
func (a *App) trackOf(ctx context.Context, courseID string) (*course.Track, error) {
	if courseID == "" {
		return nil, nil
	}
	o, err := a.c.Store.Object(ctx, courseID)
	if err != nil || o.Kind != store.Course || o.Original == nil || !looksLikeGPX(o.Original.Bytes) {
		return nil, err
	}
	t, err := course.ReadGPX(bytes.NewReader(o.Original.Bytes))
	if err != nil || len(t.Points) < 2 {
		return nil, nil //nolint:nilerr // it was checked when it was kept; without it there is no line
	}
	return &t, nil
}

// HasPlaces is whether a recording says where on the map it was ridden.
func HasPlaces(r *recording.Recording) bool {
	if r == nil {
		return false
	}
	_, lat := r.Signal(recording.Latitude, "")
	_, lon := r.Signal(recording.Longitude, "")
	return lat && lon
}

// WriteGPX writes a ride as GPX 1.1, one point a second with a place: from the
// recording's own places, or from the metres ridden along a course's track.
// Power, heart rate and cadence stand in the point's extensions as power, hr
// and cad, the names that readers of GPX commonly look for. The error is for a
// ride without any place.
func WriteGPX(w io.Writer, r *recording.Recording, track *course.Track) error {
	t, err := r.Rows(1)
	if err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the ride cannot be written: " + err.Error(), Err: err}
	}
	lat, lon := t.Column(recording.Latitude), t.Column(recording.Longitude)
	if lat == nil || lon == nil {
		along := t.Column(recording.Position)
		if track == nil || along == nil {
			return problem.Bad("GPX: this ride has no places on a map; expected a ride outdoors, or along a course that came as GPX")
		}
		lat, lon = placesAlong(*track, along)
	}
	var b bytes.Buffer
	b.WriteString(xml.Header + `<gpx version="1.1" creator="Chainline" xmlns="http://www.topografix.com/GPX/1/1" xmlns:c="urn:chainline:gpx:1">` + "\n<trk>")
	if r.Title != "" {
		b.WriteString("<name>" + escaped(r.Title) + "</name>")
	}
	b.WriteString("<trkseg>\n")
	n := 0
	for i, s := range t.Seconds {
		if math.IsNaN(lat[i]) || math.IsNaN(lon[i]) {
			continue
		}
		n++
		fmt.Fprintf(&b, `<trkpt lat="%.7f" lon="%.7f">`, lat[i], lon[i])
		if v := at(t, recording.Altitude, i); !math.IsNaN(v) {
			fmt.Fprintf(&b, "<ele>%.1f</ele>", v)
		}
		b.WriteString("<time>" + time.Unix(int64(r.StartUnix+s), 0).UTC().Format(time.RFC3339) + "</time>")
		gpxSensors(&b, t, i)
		b.WriteString("</trkpt>\n")
	}
	b.WriteString("</trkseg></trk></gpx>\n")
	if n == 0 {
		return problem.Bad("GPX: this ride has no places on a map; expected a ride outdoors, or along a course that came as GPX")
	}
	_, err = w.Write(b.Bytes())
	return err
}

func gpxSensors(b *bytes.Buffer, t *recording.Table, i int) {
	watts, heart, cadence := at(t, recording.Power, i), at(t, recording.HeartRate, i), at(t, recording.Cadence, i)
	if math.IsNaN(watts) && math.IsNaN(heart) && math.IsNaN(cadence) {
		return
	}
	b.WriteString("<extensions>")
	for _, x := range []struct {
		name string
		of   float64
	}{{"power", watts}, {"hr", heart}, {"cad", cadence}} {
		if !math.IsNaN(x.of) {
			fmt.Fprintf(b, "<c:%s>%.0f</c:%s>", x.name, x.of, x.name)
		}
	}
	b.WriteString("</extensions>")
}

func at(t *recording.Table, q recording.Quantity, i int) float64 {
	if c := t.Column(q); c != nil {
		return c[i]
	}
	return math.NaN()
}

func escaped(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder takes everything
	return b.String()
}

// placesAlong are the places some metres along a track.
func placesAlong(track course.Track, metres []float64) (lat, lon []float64) {
	far := make([]float64, len(track.Points))
	for i := 1; i < len(far); i++ {
		far[i] = far[i-1] + apartM(track.Points[i-1], track.Points[i])
	}
	for _, m := range metres {
		if math.IsNaN(m) {
			lat, lon = append(lat, math.NaN()), append(lon, math.NaN())
			continue
		}
		k := min(max(1, sort.SearchFloat64s(far, m)), len(far)-1)
		share := 0.0
		if d := far[k] - far[k-1]; d > 0 {
			share = min(max((m-far[k-1])/d, 0), 1)
		}
		p, q := track.Points[k-1], track.Points[k]
		lat, lon = append(lat, p.Lat+share*(q.Lat-p.Lat)), append(lon, p.Lon+share*(q.Lon-p.Lon))
	}
	return lat, lon
}

// apartM is how far two places near each other lie apart, m, on a sphere.
func apartM(a, b course.Point) float64 {
	const radius = 6371008.8
	rad := math.Pi / 180
	y := (b.Lat - a.Lat) * rad
	x := (b.Lon - a.Lon) * rad * math.Cos((a.Lat+b.Lat)/2*rad)
	return radius * math.Hypot(x, y)
}
