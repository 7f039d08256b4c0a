package fitfile

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"chainline/internal/problem"
	"chainline/recording"
)

// reading is one value of a record and where that record ends in the file.
type reading struct {
	at, value float64
	end       int
}

// offsets is where the record of each time stamp ends, walked by hand so that
// it rests on nothing of the reader.
func offsets(data []byte) map[float64]int {
	out := map[float64]int{}
	for at := 0; at+14 < len(data); {
		size := int(data[at])
		stated := int(uint32(data[at+4]) | uint32(data[at+5])<<8 | uint32(data[at+6])<<16 | uint32(data[at+7])<<24)
		walk(data, at+size, at+size+stated, out)
		at += size + stated + 2
	}
	return out
}

func walk(data []byte, at, end int, out map[float64]int) {
	type def struct{ size, stamp, num int } // stamp: offset of the time stamp, 0 none
	var defs [16]def
	for at < end {
		head := data[at]
		if head&0xC0 == 0x40 {
			d := def{size: 1, num: int(data[at+3]) | int(data[at+4])<<8}
			if data[at+2] == 1 {
				d.num = int(data[at+4]) | int(data[at+3])<<8
			}
			n := int(data[at+5])
			at += 6
			for range n {
				if data[at] == 253 {
					d.stamp = d.size
				}
				d.size += int(data[at+1])
				at += 3
			}
			if head&0x20 != 0 {
				n := int(data[at])
				at++
				for range n {
					d.size += int(data[at+1])
					at += 3
				}
			}
			defs[head&0x0F] = d
			continue
		}
		local := head & 0x0F
		if head&0x80 != 0 {
			local = head >> 5 & 3
		}
		d := defs[local]
		if d.num == 20 && d.stamp > 0 && head&0x80 == 0 {
			b := data[at+d.stamp:]
			out[float64(uint32(b[0])|uint32(b[1])<<8|uint32(b[2])<<16|uint32(b[3])<<24)+fitEpoch] = at + d.size
		}
		at += d.size
	}
}

// readings are all that was read, by quantity and time.
func readings(rides []Ride, ends map[float64]int) map[recording.Quantity][]reading {
	out := map[recording.Quantity][]reading{}
	for _, r := range rides {
		for _, c := range r.Recording.Channels {
			if c.Quantity == recording.RRInterval {
				continue
			}
			list := out[c.Quantity]
			for i, s := range c.Seconds {
				x := reading{at: s + r.Recording.StartUnix, value: c.Values[i]}
				if ends != nil {
					end, ok := ends[x.at]
					if !ok {
						continue
					}
					x.end = end
				}
				list = append(list, x)
			}
			out[c.Quantity] = list
		}
	}
	order := func(a, b reading) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		case a.value < b.value:
			return -1
		case a.value > b.value:
			return 1
		}
		return 0
	}
	for _, list := range out {
		if !slices.IsSortedFunc(list, order) {
			slices.SortFunc(list, order)
		}
	}
	return out
}

// missing is a reading of a record that ends before the damage and is not
// among those read from the damaged file.
func missing(want, got map[recording.Quantity][]reading, damage int) string {
	for q, list := range want {
		have, j := got[q], 0
		for _, x := range list {
			if x.end > damage {
				continue
			}
			for j < len(have) && (have[j].at < x.at || have[j].at == x.at && have[j].value < x.value) {
				j++
			}
			if j >= len(have) || have[j].at != x.at || have[j].value != x.value {
				return fmt.Sprintf("%s %g at %g", q, x.value, x.at)
			}
		}
	}
	return ""
}

// places are those of a file that get damaged: all up to 4 kB, else the first
// 4 kB, the last 1 kB and 2,000 drawn ones.
func places(size, every int, rng *rand.Rand) []int {
	var out []int
	for at := range size {
		if size <= 4096 || at < 4096 || at >= size-1024 {
			out = append(out, at)
		}
	}
	if size > 4096 {
		for range 2000 {
			out = append(out, rng.IntN(size))
		}
	}
	if every > 1 {
		rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
		out = out[:(len(out)+every-1)/every]
	}
	return out
}

// Damage, cut or flipped, at every byte of small files and many of large ones
// never ends the program, always leaves one clear line, and never costs what
// stood before it.
func TestDamage(t *testing.T) {
	cases := 0
	files := samples(t)
	names := slices.SortedFunc(maps.Keys(files), func(a, b string) int { return len(files[a]) - len(files[b]) })
	for _, name := range names {
		t.Run(name, func(t *testing.T) { cases += damaged(t, name, files[name]) })
	}
	t.Logf("%d damaged files", cases)
	if cases < 1200 {
		t.Errorf("only %d damaged files", cases)
	}
}

// damaged damages one sample in its places and returns how often.
func damaged(t *testing.T, name string, data []byte) (cases int) {
	rng := rand.New(rand.NewPCG(7, uint64(len(data))))
	every := 1
	if !*all {
		every = max(1, min(len(data), 4096+1024+2000)/30)
		if len(data) > 1<<20 {
			every = 2000 // a few places
		}
	}
	whole, _, _ := DecodeActivity(data, name)
	want := readings(whole, offsets(data))
	lost := 0
	for _, at := range places(len(data), every, rng) {
		flipped := slices.Clone(data)
		flipped[at] ^= byte(1 + rng.IntN(255))
		for kind, bad := range map[string][]byte{"cut": data[:at], "flipped": flipped} {
			cases++
			rides, losses, err := DecodeActivity(bad, name)
			if err != nil {
				if message, _ := problem.ForPerson(err); message == "" || strings.Contains(message, "inside the program") {
					t.Errorf("%s at %d: %v", kind, at, err)
				}
			}
			for _, r := range rides {
				if err := r.Recording.Validate(); err != nil {
					t.Errorf("%s at %d: %v", kind, at, err)
				}
			}
			if kind == "cut" && err == nil && len(losses) == 0 {
				t.Errorf("cut at %d: nobody was told", at)
			}
			if gone := missing(want, readings(rides, nil), at); gone != "" {
				if lost++; lost < 4 {
					t.Errorf("%s at %d: lost %s (%v, %v)", kind, at, gone, err, losses)
				}
			}
		}
	}
	if lost > 0 {
		t.Errorf("%d damages cost what stood before them", lost)
	}
	return cases
}
