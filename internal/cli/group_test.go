package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// lines is a writer that can be read while it is written to.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) all() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Split(strings.TrimSpace(l.b.String()), "\n")
}

func soon(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(60 * time.Second); !done(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited for %s", what)
		}
	}
}

// inGroup is what a line of a ride says of its group.
type inGroup struct {
	Schema string `json:"schema"`
	Stage  string `json:"stage"`
	Group  struct {
		Link   string  `json:"link"`
		ClockS float64 `json:"clock_s"`
		Riders []struct {
			Name  string  `json:"name"`
			You   bool    `json:"you"`
			State string  `json:"state"`
			AtM   float64 `json:"at_m"`
		} `json:"riders"`
	} `json:"group"`
}

// TestGroupOnTwoMachines: one command hosts and rides, another joins over TLS;
// both see both ride after the gun.
func TestGroupOnTwoMachines(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var wait sync.WaitGroup
	start := func(out *lines, args ...string) *int {
		code := new(int)
		*code = -1
		wait.Go(func() {
			*code = Run(ctx, args, Streams{Out: out, Err: &lines{}, Workers: 1, Now: time.Now})
		})
		return code
	}
	var host, guest lines
	folder := t.TempDir()
	rider := []string{"--rig", "../../demo/racer-rig.yaml", "--json", "--fixed"}
	hosted := start(&host, append([]string{"group", "host", "--course", "../../demo/two-mills.csv", "--open", "127.0.0.1:0", "--gun", "4", "--title", "Terminal", "--rider", "../../demo/racer.yaml", "--data", filepath.Join(folder, "a")}, rider...)...)
	var in struct{ Schema, Address, Invitation string }
	soon(t, "the invitation", func() bool {
		return json.Unmarshal([]byte(host.all()[0]), &in) == nil && in.Schema == "chainline.invitation/1"
	})
	joined := start(&guest, append([]string{"group", "join", in.Address, "--invitation", in.Invitation, "--rider", "../../demo/regular.yaml", "--data", filepath.Join(folder, "b")}, rider...)...)
	both := func(l *lines) bool {
		all := l.all()
		var x inGroup
		if json.Unmarshal([]byte(all[len(all)-1]), &x) != nil || x.Schema != "chainline.live/1" || x.Stage != "riding" || len(x.Group.Riders) != 2 {
			return false
		}
		you := 0
		for _, d := range x.Group.Riders {
			if d.State != "riding" {
				return false
			}
			if d.You {
				you++
			}
		}
		return you == 1 && x.Group.ClockS > 0
	}
	soon(t, "both to see both ride", func() bool { return both(&host) && both(&guest) })
	stop()
	wait.Wait()
	if *hosted != 1 || *joined != 1 {
		t.Errorf("stopped, they end with %d and %d", *hosted, *joined)
	}
	kept, err := filepath.Glob(filepath.Join(folder, "a", "rides", "groups", "*.group"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("%v, %v", kept, err)
	}
	if info, err := os.Stat(kept[0]); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("the invitation can be read by others: %v, %v", info.Mode(), err)
	}
	journals, _ := filepath.Glob(filepath.Join(folder, "*", "rides", "*.journal"))
	if len(journals) != 2 {
		t.Errorf("journals %v", journals)
	}
	for _, j := range journals {
		if b, err := os.ReadFile(j); err != nil || bytes.Contains(b, []byte(in.Invitation)) {
			t.Errorf("%s holds the invitation, or cannot be read: %v", j, err)
		}
	}
}

func TestGroupMisuse(t *testing.T) {
	rider := " --rider ../../demo/racer.yaml --rig ../../demo/racer-rig.yaml"
	for _, x := range []struct {
		args, in, says string
		code           int
	}{
		{"group host", "", "--course FILE", 2},
		{"group host --course ../../demo/two-mills.csv --gun -4", "", "0 to 3600", 2},
		{"group host --course ../../demo/two-mills.csv --shelter none", "", "low, middle or high", 2},
		{"group host --course ../../demo/two-mills.csv --open nowhere.invalid:1", "", "cannot be opened", 2},
		{"group host --course nowhere.gpx", "", "no such file", 2},
		{"group host --course ../../demo/two-mills.csv --devices replay", "", "expected bench", 2},
		{"group join" + rider, "", "expected one", 2},
		{"group join 127.0.0.1:1" + rider, "", "--invitation CODE", 2},
		{"group join 127.0.0.1:1 --invitation AAAA" + rider, "", "20 letters and digits", 2},
		{"group join 127.0.0.1:1 --invitation -" + rider, "", "nothing came", 2},
		{"group join 127.0.0.1:1 --invitation -" + rider, "AAAA-BBBB\n", "20 letters and digits", 2},
		{"group join 127.0.0.1:1 --invitation AAAA-BBBB-CCCC-DDDD-EEEE", "", "--rider FILE", 2},
		{"group join 127.0.0.1:1 --invitation AAAA-BBBB-CCCC-DDDD-EEEE" + rider, "", "cannot be reached", 1},
	} {
		var o, e bytes.Buffer
		args := append(strings.Fields(x.args), "--data", t.TempDir())
		code := Run(t.Context(), args, Streams{Out: &o, Err: &e, In: strings.NewReader(x.in), Workers: 1, Now: time.Now})
		if code != x.code || !strings.Contains(e.String(), x.says) || strings.Contains(e.String(), "AAAA-BBBB") {
			t.Errorf("%s: %d %s", x.args, code, e.String())
		}
	}
}
