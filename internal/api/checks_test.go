package api

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"chainline/estimate"
	"chainline/internal/checksim"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/recording"
	"chainline/rig"
)

// recorded is a simulated check with a meter whose zero is off, as a file.
func recorded(t *testing.T) string {
	t.Helper()
	in, _ := checksim.Ride(checksim.Case{Setup: checksim.Both, Subject: rig.ZeroOffset, Size: 2}, estimate.Stream(5, 2))
	var b bytes.Buffer
	if err := recording.Write(&b, in.Recording); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// walkChecks checks a rig by a recording, and applies and takes back a
// correction.
func (c *client) walkChecks(ids map[string]string) {
	c.t.Helper()
	who := "rider=" + ids["riders"] + "&rig=" + ids["rigs"]
	made := c.do("POST", "/checks?"+who+"&filename=evening.recording&wheel_mm=2105", recorded(c.t), 201)
	sheet := made.json()
	if sheet["schema"] != service.CheckSchema || len(sheet["verdicts"].([]any)) != 2 || sheet["minutes"].(float64) < 20 || sheet["rig"] == "" {
		c.t.Errorf("%.600v", sheet)
	}
	if got := c.do("GET", "/checks/"+made.id(), nil, 200); got.Body.String() != made.Body.String() {
		c.t.Error("the report that is kept is another one")
	}
	for rig, want := range map[string]int{"": 1, ids["rigs"]: 1, "no-such": 0} {
		if n := len(c.do("GET", "/checks?rig="+rig, nil, 200).json()["items"].([]any)); n != want {
			c.t.Errorf("%d checks of %q", n, rig)
		}
	}
	kept := c.corrected(ids)
	stands := func(got answer) (n int) {
		for _, k := range got.json()["items"].([]any) {
			if _, taken := k.(map[string]any)["taken_back"]; !taken {
				n++
			}
		}
		return n
	}
	at := "/checks/" + kept
	c.do("POST", at+"/apply", map[string]any{"source": "trainer"}, 422)
	if n := stands(c.do("POST", at+"/apply", map[string]any{"source": "crank meter"}, 200)); n != 1 {
		c.t.Errorf("%d corrections stand", n)
	}
	if n := stands(c.do("POST", at+"/take-back", map[string]any{"source": "crank meter"}, 200)); n != 0 {
		c.t.Errorf("%d corrections stand after taking back", n)
	}
	if n := len(c.do("GET", at+"/corrections", nil, 200).json()["items"].([]any)); n != 1 {
		c.t.Errorf("%d corrections are remembered", n)
	}
	c.do("DELETE", at, nil, 204)
	for _, gone := range []string{at, at + "/corrections"} {
		c.do("GET", gone, nil, 404)
	}
	c.do("POST", at+"/apply", map[string]any{"source": "crank meter"}, 404)
	c.do("DELETE", at, nil, 404)
}

// corrected keeps a report with a correction.
func (c *client) corrected(ids map[string]string) string {
	c.t.Helper()
	b, err := json.Marshal(service.CheckSheet{Schema: service.CheckSchema, Made: noon, Begun: noon, ThresholdW: 240, Minutes: 29, Warm: true,
		Verdicts: []service.CheckVerdict{{Source: "crank meter", Verdict: "use corrected", Correction: &service.CheckCorrection{Gain: 1.05, SD: 0.006}}, {Source: "trainer", Verdict: "cannot say"}}})
	if err != nil {
		c.t.Fatal(err)
	}
	k, err := c.store.PutRigCheck(c.t.Context(), store.RigCheck{Title: "Check", RiderID: ids["riders"], RigID: ids["rigs"], Report: b})
	if err != nil {
		c.t.Fatal(err)
	}
	return k.ID
}

func TestChecksAreRefusedInWords(t *testing.T) {
	c := newClient(t)
	ids := map[string]string{}
	for _, many := range []string{"riders", "rigs"} {
		ids[many] = c.make(many, "Ann's", texts(t)[many])
	}
	who := "rider=" + ids["riders"] + "&rig=" + ids["rigs"]
	for path, body := range map[string]string{
		"/checks?" + who + "&filename=a.fit":                                "no recording at all",
		"/checks?" + who + "&filename=":                                     recorded(t),
		"/checks?rider=nobody&rig=" + ids["rigs"] + "&filename=x.recording": recorded(t),
		"/checks?" + who + "&filename=x.recording&wheel_mm=-1":              recorded(t),
		"/checks?rig=" + ids["rigs"] + "&filename=x.recording":              recorded(t),
	} {
		got := c.do("POST", path, body, 422)
		if detail, _ := got.json()["detail"].(string); detail == "" || strings.Contains(detail, "\n") {
			t.Errorf("%s: %s", path, got.Body)
		}
	}
	if n := len(c.do("GET", "/checks", nil, 200).json()["items"].([]any)); n != 0 {
		t.Errorf("%d checks were kept of what was refused", n)
	}
}
