package store

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The test program starts itself as the child that writes until it is killed.
const (
	childDir  = "CHAINLINE_STORE_TEST_DIR"
	childFrom = "CHAINLINE_STORE_TEST_FROM"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		writeForEver(dir)
	}
	os.Exit(m.Run())
}

// writeForEver does step after step and says each on a line once it is done.
func writeForEver(dir string) {
	s, err := Open(ctx, dir)
	fmt.Println("open")
	for i, _ := strconv.Atoi(os.Getenv(childFrom)); err == nil; i++ {
		if err = step(s, i); err == nil {
			fmt.Println(i)
		}
	}
	fmt.Println(err)
	os.Exit(1)
}

func riderOf(i int) Object {
	text := strings.Repeat(fmt.Sprintf("line of %d\n", i), 1+i*37%1500)
	return Object{ID: fmt.Sprint("r", i), Kind: Rider, Name: fmt.Sprint("rider ", i), Text: text, Original: &Original{Filename: "a.csv", Media: "text/csv", Bytes: []byte(text + text)}}
}

func briefOf(i int) Brief {
	r := riderOf(i)
	return Brief{ID: fmt.Sprint("b", i), Made: noon, Title: r.Name, RiderID: r.ID, Request: []byte("{}"), Result: fmt.Appendf(nil, "%q", r.Text), Page: []byte(r.Text)}
}

// rideOf is a ride of the rider of step 3 of the same round, with its file.
func rideOf(i int) (Ride, map[string][]byte) {
	b := []byte(riderOf(i).Text)
	return Ride{ID: fmt.Sprint("v", i), Added: noon, RiderID: fmt.Sprint("r", i-i%round+3), Start: noon, Hash: sumOf(b), Number: 1, Filename: "r.fit",
		Facts: fmt.Appendf(nil, "%q", b), Said: []byte("{}"), Best: b}, map[string][]byte{sumOf(b): b}
}

const round = 9

// step i of every round: a rider with a file; a brief; the rider changed;
// another rider; the first one deleted with file and brief; a setting; a ride
// with its file, and another; the first of them deleted with its file.
func step(s *Store, i int) error {
	first := i - i%round
	switch i % round {
	case 0, 3:
		_, err := s.Put(ctx, riderOf(i))
		return err
	case 1:
		_, err := s.PutBrief(ctx, briefOf(first))
		return err
	case 2:
		r := riderOf(first)
		r.Text = "changed"
		_, err := s.Put(ctx, r)
		return err
	case 4:
		return s.Delete(ctx, riderOf(first).ID)
	case 6, 7:
		r, files := rideOf(i)
		_, err := s.AddRides(ctx, []Ride{r}, files)
		return err
	case 8:
		r, _ := rideOf(i - 2)
		return s.DeleteRide(ctx, r.ID)
	default:
		return s.SetSetting(ctx, "last", fmt.Sprint(i))
	}
}

// after is what must be there after the steps before n: texts by ID.
func after(n int) map[string]string {
	want := map[string]string{}
	for i := range n {
		first := i - i%round
		r := riderOf(first)
		switch i % round {
		case 0, 3:
			want[riderOf(i).ID] = riderOf(i).Text
		case 1:
			want[briefOf(first).ID] = string(briefOf(first).Page)
		case 2:
			want[r.ID] = "changed"
		case 4:
			delete(want, r.ID)
			delete(want, briefOf(first).ID)
		case 5:
			want["last"] = fmt.Sprint(i)
		case 6, 7:
			want[fmt.Sprint("v", i)] = riderOf(i).Text
		case 8:
			delete(want, fmt.Sprint("v", i-2))
		}
	}
	return want
}

// found is what is there, after a look at every byte of it.
func found(t *testing.T, s *Store) map[string]string {
	t.Helper()
	checkWhole(t, s)
	got := map[string]string{}
	os, bs := everything(t, s)
	for _, o := range os {
		got[o.ID] = o.Text
		i, err := strconv.Atoi(o.ID[1:])
		if err != nil || o.Original == nil || string(o.Original.Bytes) != string(riderOf(i).Original.Bytes) {
			t.Errorf("the file of %s is not whole", o.ID)
		}
	}
	for _, b := range bs {
		got[b.ID] = string(b.Page)
		i, err := strconv.Atoi(b.ID[1:])
		if want := briefOf(i); err != nil || !reflect.DeepEqual(b, want) {
			t.Errorf("brief %s is not whole", b.ID)
		}
	}
	for _, r := range allRides(t, s, "") {
		b, err := s.RideFile(r.Hash)
		i, wrong := strconv.Atoi(r.ID[1:])
		if want, _ := rideOf(i); err != nil || wrong != nil || string(b) != string(want.Best) || string(r.Facts) != string(want.Facts) || r.RiderID != want.RiderID {
			t.Errorf("ride %s or its file is not whole: %v", r.ID, err)
		}
		got[r.ID] = string(b)
	}
	last, err := s.Setting(ctx, "last")
	if err != nil {
		t.Fatal(err)
	}
	if last != "" {
		got["last"] = last
	}
	return got
}

// TestKilledAtAnyPoint kills a writing program 100 times with SIGKILL, ten
// times in each of ten folders; the first kill of a folder falls into its
// making. What was acknowledged must be there, and of the step that was under
// way all or nothing.
func TestKilledAtAnyPoint(t *testing.T) {
	draw := rand.New(rand.NewPCG(2026, 11))
	acknowledged, early, extra := 0, 0, 0
	for range 10 {
		dir := t.TempDir()
		done := 0 // steps that are in the database
		for kill := range 10 {
			acks, opened := killOne(t, dir, done, draw, kill == 0)
			if !opened {
				early++
			}
			acknowledged += acks
			s := mustOpen(t, dir)
			got := found(t, s)
			mustClose(t, s)
			switch {
			case reflect.DeepEqual(got, after(done+acks)):
				done += acks
			case reflect.DeepEqual(got, after(done+acks+1)):
				done += acks + 1
				extra++
			default:
				t.Fatalf("after %d acknowledged steps there is %v, want %v or one more", done+acks, keys(got), keys(after(done+acks)))
			}
		}
	}
	t.Logf("100 kills: %d before the database was open, %d writes acknowledged, %d written but not yet acknowledged", early, acknowledged, extra)
	if acknowledged < 100 || early == 0 || early == 100 {
		t.Error("the kills did not fall among the writes: this test showed nothing")
	}
}

// killOne starts the child and kills it: at once or a moment after it said
// some number of steps. It returns how many it said.
func killOne(t *testing.T, dir string, from int, draw *rand.Rand, whileOpening bool) (acks int, opened bool) {
	t.Helper()
	child := exec.Command(os.Args[0], "-test.run=^$")
	child.Env = append(os.Environ(), childDir+"="+dir, childFrom+"="+strconv.Itoa(from))
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err == nil {
		err = child.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	deadline := time.AfterFunc(20*time.Second, func() { _ = child.Process.Kill() })
	defer deadline.Stop()
	lines := bufio.NewScanner(out)
	said := func() bool { // one line more
		if !lines.Scan() {
			return false
		}
		switch line := lines.Text(); line {
		case "open":
			opened = true
		case strconv.Itoa(from + acks):
			acks++
		default:
			t.Fatalf("the child said %q", line)
		}
		return true
	}
	moment := time.Duration(draw.IntN(3000)) * time.Microsecond
	if whileOpening {
		moment = time.Duration(5+draw.IntN(25)) * time.Millisecond
	} else {
		for range 1 + draw.IntN(8) {
			if !said() {
				t.Fatal("the child ended by itself")
			}
		}
	}
	killer := time.AfterFunc(moment, func() { _ = child.Process.Kill() })
	defer killer.Stop()
	for said() {
	}
	if _, err := io.Copy(io.Discard, out); err != nil {
		t.Log(err) // the pipe is closed already
	}
	if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != -1 {
		t.Fatalf("the child was not killed: %v", child.ProcessState)
	}
	return acks, opened
}

func keys(m map[string]string) (all []string) {
	for k, v := range m {
		all = append(all, fmt.Sprintf("%s (%d bytes)", k, len(v)))
	}
	return all
}
