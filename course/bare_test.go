package course

import (
	"bytes"
	"os"
	"reflect"
	"strings"
	"testing"
)

const recorded = `<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="a unit" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:x">
<metadata><author><name>PRIVATE</name></author><time>PRIVATE</time></metadata><wpt lat="1" lon="2"><name>PRIVATE</name></wpt>
<trk><name>Hill &amp; <![CDATA[<b>dale</b>]]></name><desc>PRIVATE</desc><trkseg>
<trkpt lat=" 50.123456789" lon="5.1"><ele> 101.25 </ele><time>PRIVATE</time><extensions><x:hr>PRIVATE</x:hr><power>PRIVATE</power></extensions></trkpt>
<trkpt lat="50.1244" lon="5.1001"><!-- PRIVATE --><ele>1<!-- PRIVATE -->03</ele></trkpt><trkpt lat="50.1254" lon="5.1001"></trkpt>
<trkpt lat="50.1264" lon="5.1001"><ele>steep &lt;</ele></trkpt></trkseg><trkseg><trkpt lat="50.1274" lon="5.1001"><ele>104</ele></trkpt></trkseg></trk>
<rte><rtept lat="1" lon="1"><ele>5</ele></rtept></rte></gpx>`

// TestBareGPX: what is left of a document is read as the same track, and holds
// nothing else.
func TestBareGPX(t *testing.T) {
	texts := []string{recorded}
	for _, path := range []string{"testdata/faults-1.0.gpx", "testdata/route-1.1.gpx"} {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(b))
	}
	for i, text := range texts {
		want, err := ReadGPX(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		bare, err := BareGPX(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadGPX(bytes.NewReader(bare))
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("text %d: %v\n%+v\n%+v\n%s", i, err, got, want, bare)
		}
		if bytes.Contains(bare, []byte("PRIVATE")) || bytes.Contains(bare, []byte("<time")) || bytes.Contains(bare, []byte("creator")) {
			t.Errorf("text %d still says: %s", i, bare)
		}
	}
	if _, err := BareGPX(strings.NewReader("<gpx></gpx>")); err == nil {
		t.Error("a document without a way was taken")
	}
}
