// Command generate writes the invented courses of the demo into a folder:
//
//	go run ./demo/generate demo
//
// harbour-ridge.gpx lies in the open ocean, where there is no road, with the
// noise a receiver would add; two-mills.csv is a survey. Seeded: the same files
// every time.
package main

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
)

func main() {
	folder := "."
	if len(os.Args) > 1 {
		folder = os.Args[1]
	}
	files := map[string][]byte{
		"harbour-ridge.gpx": harbourRidge(),
		"two-mills.csv":     twoMills(),
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(folder, name), content, 0o644); err != nil {
			fmt.Fprintln(os.Stderr, "generate:", err)
			os.Exit(1)
		}
	}
}

// knot is a place where the gradient of an invented road changes.
type knot struct{ distance, elevation float64 } // m

// ridge is a loop: along the harbour, over the ridge, two rollers, the short
// wall above the old battery, home.
var ridge = []knot{
	{0, 12}, {1500, 10}, {2600, 22}, {3300, 18}, {4200, 24},
	{5200, 72}, {6100, 130}, {6900, 162}, {7800, 226}, {8500, 252}, // the ridge
	{9300, 242}, {10200, 180}, {11300, 110}, {12100, 76},
	{12700, 108}, {13200, 88}, {13900, 124}, {14600, 86}, // two rollers
	{16200, 58}, {17000, 61}, {17500, 96}, {17900, 138}, {18300, 146}, // the wall
	{19300, 90}, {20100, 40}, {21400, 26}, {22100, 38}, {22800, 20}, {24000, 12},
}

func at(road []knot, d float64) float64 {
	for i := 1; i < len(road); i++ {
		if d <= road[i].distance {
			a, b := road[i-1], road[i]
			return a.elevation + (d-a.distance)/(b.distance-a.distance)*(b.elevation-a.elevation)
		}
	}
	return road[len(road)-1].elevation
}

// harbourRidge is a closed, wobbling curve of 24 km with a point about every
// 34 m. Its noise has a slow part (weather, wander) and a white one.
func harbourRidge() []byte {
	const points = 706
	r := rand.New(rand.NewPCG(2026, 11))
	x, y := make([]float64, points+1), make([]float64, points+1)
	along := make([]float64, points+1)
	for i := range x {
		a := 2 * math.Pi * float64(i) / points
		radius := 1 + 0.22*math.Sin(3*a+0.4) + 0.08*math.Sin(7*a+1.9) + 0.02*math.Sin(23*a)
		x[i], y[i] = 1.3*radius*math.Cos(a), radius*math.Sin(a)
		if i > 0 {
			along[i] = along[i-1] + math.Hypot(x[i]-x[i-1], y[i]-y[i-1])
		}
	}
	const length = 24000.0
	scale := length / along[points]
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="chainline demo/generate" xmlns="http://www.topografix.com/GPX/1/1">
  <metadata><name>Harbour and Ridge</name><desc>An invented course in the open ocean</desc></metadata>
  <wpt lat="-47.0020000" lon="-121.9950000"><ele>12</ele><name>Start</name></wpt>
  <trk>
    <name>Harbour and Ridge</name>
    <trkseg>
`)
	const metresPerDegree = 6371008.8 * math.Pi / 180
	slow := 0.0
	for i := range x {
		slow = 0.97*slow + 0.18*r.NormFloat64()
		fade := math.Min(1, math.Min(float64(i), float64(points-i))/10) // a loop closes
		z := at(ridge, along[i]*scale) + fade*(slow+0.5*r.NormFloat64())
		lat := -47 + y[i]*scale/metresPerDegree
		lon := -122 + x[i]*scale/metresPerDegree/math.Cos(47*math.Pi/180)
		fmt.Fprintf(&b, "      <trkpt lat=\"%.7f\" lon=\"%.7f\"><ele>%.1f</ele></trkpt>\n", lat, lon, z)
	}
	b.WriteString("    </trkseg>\n  </trk>\n</gpx>\n")
	return b.Bytes()
}

// twoMills is 10 km with 260 m of ascent in two climbs and a bump.
func twoMills() []byte {
	survey := []knot{
		{0, 40}, {900, 40}, {1500, 46}, {2100, 82}, {2800, 136}, {3400, 178}, {3700, 180}, // the first mill
		{4500, 118}, {5200, 66}, {5500, 60}, {6000, 60},
		{6400, 84}, {7100, 138}, {7600, 172}, {7800, 174}, // the second mill
		{8500, 112}, {9100, 62}, {9500, 34}, {9800, 40}, {10000, 40},
	}
	var b bytes.Buffer
	b.WriteString("distance_m,elevation_m\n")
	for _, k := range survey {
		fmt.Fprintf(&b, "%g,%g\n", k.distance, k.elevation)
	}
	return b.Bytes()
}
