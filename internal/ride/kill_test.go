package ride_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
)

const childFolder = "CHAINLINE_RIDE_CHILD"

// TestMain lets the test binary be the program that is killed.
func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		if err := child(folder); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// child rides on a bench by the wall clock until it is killed, and tells after
// every tick how far it has come.
func child(folder string) error {
	cfg := standard(9)
	cfg.Start = time.Now()
	w := bench.New(cfg)
	s := courseSetup(ride.Controlling)
	s.Begun = cfg.Start
	kept, err := ride.Begin(folder, s, sensor.NewHub(nil))
	if err != nil {
		return err
	}
	port := bench.Realtime(context.Background(), w)
	e := ride.Start(context.Background(), kept.Core, ride.Options{Port: port, Keep: kept.Journal.Append, Show: func(s ride.Snapshot, c *ride.Core) {
		w.Show(c.Shown())
		c.ConnectAll()
		fmt.Printf("%.3f\n", s.At.Sub(cfg.Start).Seconds())
	}})
	e.Key(ride.Key{Kind: ride.KeyScan, Value: 1})
	<-e.Done()
	return e.Err()
}

// TestKilled kills a ride at random instants, several at once. In full it is
// two hundred times.
func TestKilled(t *testing.T) {
	kills := 16
	if *all {
		kills = 200
	}
	r := rand.New(rand.NewPCG(3, 1))
	var group sync.WaitGroup
	slots := make(chan bool, 8)
	for n := range kills {
		after := 400*time.Millisecond + time.Duration(r.Float64()*float64(3*time.Second))
		slots <- true
		group.Go(func() {
			defer func() { <-slots }()
			if err := kill(t.TempDir(), after); err != nil {
				t.Errorf("kill %d after %v: %v", n, after, err)
			}
		})
	}
	group.Wait()
}

func kill(folder string, after time.Duration) error {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childFolder+"="+folder)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		return err
	}
	var last float64
	read := make(chan bool)
	begun := make(chan bool, 1)
	go func() {
		defer close(read)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if v, err := strconv.ParseFloat(lines.Text(), 64); err == nil {
				last = v
				select {
				case begun <- true:
				default:
				}
			}
		}
	}()
	select {
	case <-begun:
	case <-time.After(30 * time.Second):
		_ = cmd.Process.Kill()
		return errors.New("the ride did not begin within half a minute")
	}
	<-time.After(after) // the instant of the kill is what is random here
	if err := cmd.Process.Kill(); err != nil {
		return err
	}
	<-read
	_ = cmd.Wait() // killed: an error is what is expected
	return recovered(filepath.Join(folder, "test"+ride.Suffix), last)
}

func recovered(path string, last float64) error {
	r, err := ride.Load(path)
	if err != nil {
		return err
	}
	if r.Last == nil || r.Last.T < last-1 {
		return fmt.Errorf("ridden to %.2f s, recovered %+v", last, r.Last)
	}
	if r.Ended || r.Odd > 0 {
		return fmt.Errorf("ended %v, %d odd records", r.Ended, r.Odd)
	}
	now := start.Add(time.Hour)
	kept, err := ride.GoOn(path, sensor.NewHub(nil), now)
	if err != nil {
		return err
	}
	cfg := standard(9)
	cfg.Start = now
	w := &spy{World: bench.New(cfg), limits: ride.DefaultLimits(), heard: map[string]time.Time{}, last: -1}
	err = ride.Headless(context.Background(), kept.Core, w, 20*time.Second, nil, kept.Journal.Append, nil)
	if err == nil && w.problem != "" {
		err = errors.New(w.problem)
	}
	if err == nil && w.writes == 0 {
		err = errors.New("gone on with, and the trainer was told nothing")
	}
	return errors.Join(err, kept.Journal.Close())
}
