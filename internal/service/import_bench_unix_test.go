//go:build unix

package service_test

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"syscall"
	"testing"
	"time"

	"chainline/internal/fitfile"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
)

// hourRide is an invented hour outdoors with power, heart rate, cadence, speed,
// place and height every second, on its own day.
func hourRide(day int) *recording.Recording {
	rng := rand.New(rand.NewPCG(uint64(day), 3))
	b := recording.NewBuilder("ride", 1_600_000_000+float64(day)*86_400, 0, "road cycling")
	level, way := 180.0, 0.0
	for k := range 3600 {
		s := float64(k + 1)
		if k%90 == 0 {
			level = 120 + 200*rng.Float64()
		}
		way += 8 + math.Sin(s/60)
		for _, c := range []struct {
			q recording.Quantity
			v float64
		}{{recording.Power, math.Round(math.Max(0, level+25*rng.NormFloat64()))}, {recording.HeartRate, math.Round(110 + level/8 + 12*math.Sin(s/200))},
			{recording.Cadence, math.Round(85 + 6*math.Sin(s/37) + 2*rng.NormFloat64())}, {recording.Speed, 8 + math.Sin(s/60)}, {recording.Position, way},
			{recording.Altitude, math.Round(200 + 40*math.Sin(s/400))}, {recording.Latitude, 10 + way*9e-6}, {recording.Longitude, 20}} {
			_ = b.Add(c.q, "recorded", s, c.v)
		}
	}
	r := b.Recording(true)
	return &r
}

// BenchmarkImport takes a thousand FIT files of an hour, each another ride,
// into a new library: read, cleaned, measured over every duration, compared
// with the rest, and kept on the disk. The wall depends on who else uses the
// processors: the seconds of CPU do not.
func BenchmarkImport(b *testing.B) {
	const rides = 1000
	dir := b.TempDir()
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.NumCPU() {
		group.Go(func() {
			for i := range next {
				f, err := os.Create(filepath.Join(dir, fmt.Sprintf("%04d.fit", i)))
				if err == nil {
					err = fitfile.Activity(f, hourRide(i), fitfile.Options{})
				}
				if err != nil {
					b.Error(err)
				}
				f.Close()
			}
		})
	}
	for i := range rides {
		next <- i
	}
	close(next)
	group.Wait()
	for b.Loop() {
		importAll(b, dir, rides)
	}
}

func importAll(b *testing.B, dir string, rides int) {
	b.Helper()
	db, err := store.Open(b.Context(), b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	a := service.NewApp(service.AppConfig{Store: db, Now: time.Now, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	stop, most := make(chan struct{}), make(chan uint64)
	go func() {
		tick, high := time.NewTicker(100*time.Millisecond), uint64(0)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				most <- high
				return
			case <-tick.C:
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				high = max(high, m.HeapInuse)
			}
		}
	}()
	from, begun := cpuSeconds(b), time.Now()
	id, err := a.StartImport(b.Context(), service.ImportRequest{Paths: []string{dir}})
	if err != nil {
		b.Fatal(err)
	}
	if err := a.Wait(b.Context(), id); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(cpuSeconds(b)-from, "CPU-s")
	b.ReportMetric(time.Since(begun).Seconds(), "wall-s")
	close(stop)
	b.ReportMetric(float64(<-most)/1e6, "MB-heap")
	if p, err := a.Import(b.Context(), id); err != nil || p.New != rides || p.State != service.ImportDone {
		b.Fatal(err, p)
	}
	if err := a.Close(); err != nil {
		b.Fatal(err)
	}
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
}

// cpuSeconds is what this process has used of all processors.
func cpuSeconds(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// BenchmarkSeasonOfRides is a season of 150 hours of one rider: what learning
// from all of them takes the first time, and what the season's page takes when
// that is done.
func BenchmarkSeasonOfRides(b *testing.B) {
	const rides = 150
	dir := b.TempDir()
	for i := range rides {
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("%04d.fit", i)))
		if err == nil {
			err = fitfile.Activity(f, hourRide(2*i), fitfile.Options{})
		}
		if err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
	for b.Loop() {
		db, err := store.Open(b.Context(), b.TempDir())
		if err != nil {
			b.Fatal(err)
		}
		rider, err := os.ReadFile(demoRider)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := db.Put(b.Context(), store.Object{ID: "ada", Kind: store.Rider, Name: "Ada", Text: string(rider)}); err != nil {
			b.Fatal(err)
		}
		end := time.Unix(1_600_000_000+2*rides*86_400, 0)
		a := service.NewApp(service.AppConfig{Store: db, Now: func() time.Time { return end }, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
		from := cpuSeconds(b)
		id, err := a.StartImport(b.Context(), service.ImportRequest{Paths: []string{dir}, RiderID: "ada"})
		if err == nil {
			err = a.Wait(b.Context(), id)
		}
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(cpuSeconds(b)-from, "import+learn-CPU-s")
		from = cpuSeconds(b)
		s, err := a.Season(b.Context(), "ada", time.Time{})
		if err != nil || s.Rides != rides {
			b.Fatal(err, s.Rides)
		}
		b.ReportMetric(1000*(cpuSeconds(b)-from), "season-CPU-ms")
		if err := a.Close(); err != nil {
			b.Fatal(err)
		}
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
