package journal

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestMain lets the test binary be the process that is killed.
func TestMain(m *testing.M) {
	if path := os.Getenv("CHAINLINE_JOURNAL_CHILD"); path != "" {
		writeUntilKilled(path)
	}
	os.Exit(m.Run())
}

// writeUntilKilled appends some thousand records a second and says each one's
// number on its standard output once Append has returned.
func writeUntilKilled(path string) {
	w, err := Create(path, ride)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	w.Start(time.Second)
	for seq := uint64(1); ; seq++ {
		if err := w.Append(payload(seq)); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Printf("%d %d\n", seq, time.Now().UnixMicro())
		time.Sleep(200 * time.Microsecond)
	}
}

// TestKilled kills twenty writers at random instants, eight at once.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	dir := t.TempDir()
	random := rand.New(rand.NewPCG(5, 5))
	var group sync.WaitGroup
	room := make(chan struct{}, 8)
	for n := range 20 {
		wait := time.Duration(30+random.IntN(1250)) * time.Millisecond
		group.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			killOne(t, filepath.Join(dir, fmt.Sprint("ride", n)), wait)
		})
	}
	group.Wait()
}

func killOne(t *testing.T, path string, wait time.Duration) {
	times, last := runAndKill(t, path, wait)
	r, err := Recover(path)
	if err != nil {
		t.Errorf("killed after %v: %v", wait, err)
		return
	}
	nothingInvented(t, path, r.Records)
	lost := int64(0)
	if r.Last() < last {
		lost = times[last] - times[r.Last()]
	}
	t.Logf("killed after %v: %d appended, %d recovered, %d µs lost, damage %v", wait, last, r.Last(), lost, r.Damage)
	if lost > 1_000_000 || len(r.Records) != int(r.Last()) || last == 0 {
		t.Errorf("killed after %v: %d µs lost, %d records up to number %d of %d", wait, lost, len(r.Records), r.Last(), last)
	}
	w, _, err := Continue(path)
	if err != nil {
		t.Error(err)
		return
	}
	if err := w.Append(payload(r.Last() + 1)); err != nil {
		t.Error(err)
	}
	if err := w.Close(); err != nil {
		t.Error(err)
	}
	if again, err := Recover(path); err != nil || again.Last() != r.Last()+1 {
		t.Errorf("continued: %v, %+v", err, again)
	}
}

// runAndKill gives the time in microseconds of every record the child said it
// had appended, and the last one's number.
func runAndKill(t *testing.T, path string, wait time.Duration) (times map[uint64]int64, last uint64) {
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), "CHAINLINE_JOURNAL_CHILD="+path)
	times = map[uint64]int64{}
	out, err := child.StdoutPipe()
	if err == nil {
		err = child.Start()
	}
	if err != nil {
		t.Error(err)
		return times, 0
	}
	lines := bufio.NewScanner(out)
	killed := false
	started := time.Now()
	for lines.Scan() {
		var seq uint64
		var at int64
		if n, _ := fmt.Sscan(lines.Text(), &seq, &at); n != 2 {
			if strings.HasPrefix(lines.Text(), "error") {
				t.Error(lines.Text())
			}
			continue // the last line may be torn
		}
		last, times[seq] = seq, at
		if !killed && time.Since(started) > wait {
			killed = true
			_ = child.Process.Kill() // SIGKILL
		}
	}
	_ = child.Wait()
	return times, last
}
