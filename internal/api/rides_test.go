package api

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// walkRides brings two rides in and asks everything of them.
func (c *client) walkRides(ids map[string]string) {
	c.t.Helper()
	folder := c.t.TempDir()
	for i, name := range []string{"one.csv", "two.csv"} {
		var b strings.Builder
		b.WriteString("timestamp,power,heart_rate\n")
		for s := range 1500 {
			w := 150 + s%7
			if s > 900 && s < 1200 {
				w = 310 + s%5
			}
			fmt.Fprintf(&b, "%s,%d,%d\n", noon.AddDate(0, 0, -3-30*i).Add(time.Duration(s)*time.Second).Format(time.RFC3339), w, 130+s%4)
		}
		if err := os.WriteFile(filepath.Join(folder, name), []byte(b.String()), 0o600); err != nil {
			c.t.Fatal(err)
		}
	}
	c.do("POST", "/imports", map[string]any{"paths": []string{}}, 422)
	begun := c.do("POST", "/imports", map[string]any{"paths": []string{folder}, "rider": ids["riders"], "rig": ids["rigs"]}, 202).json()
	at := "/imports/" + begun["id"].(string)
	for range 500 {
		if c.do("GET", at, nil, 200).json()["state"] == "done" {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if m := c.do("POST", at+"/cancel", nil, 200).json(); m["new"] != 2.0 {
		c.t.Errorf("%v", m)
	}
	c.do("POST", at+"/resume", nil, 200)
	rides := c.do("GET", "/rides?rider="+ids["riders"], nil, 200).json()["items"].([]any)
	if len(rides) != 2 {
		c.t.Fatalf("%v", rides)
	}
	ride := "/rides/" + rides[0].(map[string]any)["id"].(string)
	c.do("GET", ride, nil, 200)
	c.do("PUT", ride+"/answer", map[string]any{"could_have_gone_harder": "perhaps"}, 422)
	c.do("PUT", ride+"/answer", map[string]any{"could_have_gone_harder": "no"}, 204)
	sheet := c.do("GET", ride+"/debrief", nil, 200).json()
	if sheet["could_have_gone_harder"] != "no" || sheet["debrief"].(map[string]any)["learnt"] == nil {
		c.t.Errorf("%v", sheet["notes"])
	}
	if n := c.do("GET", ride+"/share?without=name", nil, 200).Body.Len(); n < 2000 {
		c.t.Errorf("a share file of %d bytes", n)
	}
	c.do("GET", ride+"/share?without=shoes", nil, 422)
	if s := c.do("GET", "/riders/"+ids["riders"]+"/season", nil, 200).json(); s["rides"] != 2.0 {
		c.t.Errorf("%v", s["rides"])
	}
	c.do("DELETE", ride, nil, 204)
	for _, path := range []string{ride, ride + "/debrief", ride + "/share", "/imports/none", "/riders/none/season"} {
		c.do("GET", path, nil, 404)
	}
	c.do("PUT", ride+"/answer", map[string]any{"could_have_gone_harder": "no"}, 404)
	c.do("DELETE", ride, nil, 404)
}
