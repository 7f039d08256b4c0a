package course

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

func TestReadCSV(t *testing.T) {
	for name, in := range map[string]string{
		"plain":       "distance_m,elevation_m\n0,10\n100.5,12\n300,-3.25\n",
		"no last end": "distance_m,elevation_m\n0,10\n100.5,12\n300,-3.25",
		"BOM, CRLF":   "\xef\xbb\xbfdistance_m,elevation_m\r\n0,10\r\n100.5,12\r\n300,-3.25\r\n",
		"spaces":      "distance_m,elevation_m\n 0, 10\n\n100.5 ,12\n\"300\",-325e-2\n",
	} {
		p, err := ReadCSV(strings.NewReader(in))
		if err != nil || !slices.Equal(p.Distance, []float64{0, 100.5, 300}) || !slices.Equal(p.Elevation, []float64{10, 12, -3.25}) {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
	}
}

func TestReadCSVBroken(t *testing.T) {
	const head = "distance_m,elevation_m\n"
	cases := map[string]struct{ in, want string }{
		"empty":         {"", `line 1: the file is empty; expected the header "distance_m,elevation_m"`},
		"no header":     {"0,10\n100,12\n", `line 1: header "0,10"; expected "distance_m,elevation_m"`},
		"semicolons":    {"distance_m;elevation_m\n0;1\n", `line 1: header "distance_m;elevation_m"; expected "distance_m,elevation_m"`},
		"swapped":       {"elevation_m,distance_m\n0,1\n", `line 1: header "elevation_m,distance_m"; expected "distance_m,elevation_m"`},
		"more columns":  {"distance_m,elevation_m,name\n", `line 1: header "distance_m,elevation_m,name"; expected "distance_m,elevation_m"`},
		"UTF-16":        {"\xfe\xff\x00d", `line 1: the file is written in UTF-16; expected UTF-8`},
		"no points":     {head, `line 1: the file ends after 0 points; expected at least 2`},
		"one point":     {head + "0,10\n", `line 2: the file ends after 1 point; expected at least 2`},
		"not from 0":    {head + "5,10\n100,12\n", `line 2, distance_m: 5; expected 0 at the first point`},
		"not a number":  {head + "0,10\n100,high\n", `line 3, elevation_m: "high" is not a number; expected metres`},
		"missing":       {head + "0,10\n100,\n", `line 3, elevation_m: "" is not a number; expected metres`},
		"NaN":           {head + "0,NaN\n", `line 2, elevation_m: "NaN" is not a number; expected metres`},
		"infinite":      {head + "0,10\n1e999,12\n", `line 3, distance_m: "1e999" is not a number; expected metres`},
		"decimal comma": {head + "0,10\n100,5,12,25\n", `line 3: 4 fields; expected 2, distance_m,elevation_m, with decimal points`},
		"one field":     {head + "0,10\n100\n", `line 3: 1 field; expected 2, distance_m,elevation_m, with decimal points`},
		"standing":      {head + "0,10\n100,12\n100,13\n", `line 4, distance_m: 100; expected more than the 100 of the point before`},
		"backwards":     {head + "0,10\n100,12\n\n90,13\n", `line 5, distance_m: 90; expected more than the 100 of the point before`},
		"too long":      {head + "0,10\n2000001,12\n", `line 3, distance_m: 2.000001e+06; expected at most 2000000`},
		"too high":      {head + "0,10\n100,9001\n", `line 3, elevation_m: 9001; expected metres from -500 to 9000`},
		"too low":       {head + "0,-501\n", `line 2, elevation_m: -501; expected metres from -500 to 9000`},
		"cliff":         {head + "0,10\n100,111\n", `line 3, elevation_m: from 10 to 111 m in 100 m of road; expected a gradient of at most 100 %`},
		"quote":         {head + "0,10\n100,\"12\n", `line 3, column 9: a stray quotation mark; expected two plain numbers`},
		"stray quote":   {head + "0,10\n100,1\"2\n", `line 3, column 6: a stray quotation mark; expected two plain numbers`},
		"escape":        {head + "0,\x1b[31m\n", `line 2, elevation_m: "[31m" is not a number; expected metres`},
	}
	for name, c := range cases {
		_, err := ReadCSV(strings.NewReader(c.in))
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", name, err, c.want)
		}
	}
}

func TestReadCSVBoundsMemory(t *testing.T) {
	for name, c := range map[string]struct{ begin, repeat, want string }{
		"blank lines": {"distance_m,elevation_m\n", "\n", "the file is larger than 20 MB"},
		"one field":   {"distance_m,elevation_m\n0,\"", "1", "the file is larger than 20 MB"},
		"one header":  {"", "a", "line 1: the file is larger than 20 MB"},
	} {
		_, err := ReadCSV(endless(c.begin, c.repeat, 200_000_000))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %s", name, err, c.want)
		}
	}
}

func TestReadCSVDemo(t *testing.T) {
	f, err := os.Open("../demo/two-mills.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := ReadCSV(f)
	if err != nil || p.Length() != 10000 || math.Abs(p.Ascent()-260) > 1e-9 || len(Climbs(p)) != 2 {
		t.Errorf("%g m, %g m of ascent, climbs %+v, %v", p.Length(), p.Ascent(), Climbs(p), err)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add([]byte("distance_m,elevation_m\n0,10\n100.5,12\n300,-3.25\n"))
	f.Add([]byte("\xef\xbb\xbfdistance_m,elevation_m\r\n0,10\r\n\"1e2\", 1_0\r\n"))
	f.Add([]byte("distance_m,elevation_m\n0,1\n5e-324,1\n1,0x1p0\n"))
	f.Add([]byte("distance_m,elevation_m\n0,\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ReadCSV(strings.NewReader(string(data)))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "line ") || strings.ContainsAny(err.Error(), "\n\r\x1b") {
				t.Fatalf("error %q", err)
			}
			return
		}
		checkReadProfile(t, p)
		Climbs(p)
		Sections(p)
	})
}
