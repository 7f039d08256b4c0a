package service_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"chainline/internal/problem"
	"chainline/internal/service"
)

// smallShare is a share file of a ride of two minutes without a rider; change
// may change what is in it.
func smallShare(change func(string) string) []byte {
	ride := "seconds,power\n"
	for s := range 120 {
		ride += fmt.Sprintf("%d,%d\n", s, 150+s%9)
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range [][2]string{{"share.json", `{"schema":"chainline.share/1","made":"2026-12-20T09:00:00Z","whole":true,"ride":"ride/a.csv","number":1,"seed":1,"draws":20,"today":"2026-12-20T09:00:00Z"}`}, {"debrief.json", "{}"}, {"ride/a.csv", ride}} {
		w, _ := z.Create(f[0])
		io.WriteString(w, change(f[1]))
	}
	z.Close()
	return out.Bytes()
}

// Whatever is sent as a share file is opened or refused with one line.
func FuzzOpenShare(f *testing.F) {
	same := func(s string) string { return s }
	f.Add(smallShare(same))
	f.Add(smallShare(func(s string) string { return strings.Replace(s, `"number":1`, `"number":9`, 1) }))
	f.Add(smallShare(func(s string) string { return strings.Replace(s, `"draws":20`, `"draws":-1`, 1) }))
	f.Add(smallShare(func(s string) string {
		return strings.Replace(s, `"number":1`, `"number":1,"rider":"ride/a.csv"`, 1)
	}))
	f.Add(smallShare(func(s string) string { return strings.Replace(s, "ride/a.csv", "../a.csv", 1) }))
	f.Add(smallShare(func(s string) string { return s[:len(s)/2] }))
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, b []byte) {
		_, err := service.OpenShare(t.Context(), "x.zip", bytes.NewReader(b), int64(len(b)), 1)
		if err == nil {
			return
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("more than a line: %v", err)
		}
		if _, ok := errors.AsType[*problem.Error](err); !ok && problem.ExitCode(err) != 2 {
			t.Errorf("no sentence for a person: %T %v", err, err)
		}
	})
}

func TestSmallShareOpens(t *testing.T) {
	b := smallShare(func(s string) string { return s })
	s, err := service.OpenShare(t.Context(), "x.zip", bytes.NewReader(b), int64(len(b)), 1)
	if err != nil || s.Again == nil || s.Again.Debrief.Measures.Whole.MeanW < 150 || len(s.Differs) == 0 {
		t.Errorf("%v %+v", err, s.Differs)
	}
}
