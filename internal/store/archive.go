package store

import (
	"fmt"
	"path"
	"strings"
	"time"
)

// An archive is a zip file: manifest.json says what is in it, and everything
// else is a file that a person can open by itself. docs/formats.md tells the
// rest.
const (
	manifestFile   = "manifest.json"
	archiveFormat  = "chainline-archive"
	archiveVersion = 1
)

// Bounds of an archive that is read.
const (
	maxArchive   = 2 << 30 // the zip file, in bytes
	maxManifest  = 64 << 20
	maxEntries   = 200_000
	maxUnpacked  = 4 << 30 // all files together, in bytes
	smallArchive = 64 << 20
	maxRatio     = 250 // beyond smallArchive, bytes unpacked for each byte packed
)

type manifest struct {
	Format  string           `json:"format"`
	Version int              `json:"version"`
	Made    time.Time        `json:"made"`
	Objects []manifestObject `json:"objects"`
	Briefs  []manifestBrief  `json:"briefs"`
	Checks  []manifestCheck  `json:"checks,omitempty"`
	Rides   []manifestRide   `json:"rides,omitempty"`

	Calendars []manifestCalendar `json:"calendars,omitempty"`
	Results   []manifestResults  `json:"results,omitempty"`
	Starts    []manifestStarts   `json:"start_lists,omitempty"`

	LeftOut []manifestLeftOut `json:"left_out,omitempty"`
}

type manifestObject struct {
	ID       string            `json:"id"`
	Kind     Kind              `json:"kind"`
	Name     string            `json:"name"`
	File     string            `json:"file,omitempty"` // none for a course that is only its original
	Demo     bool              `json:"demo,omitempty"`
	Created  time.Time         `json:"created"`
	Updated  time.Time         `json:"updated"`
	Original *manifestOriginal `json:"original,omitempty"`
}

type manifestOriginal struct {
	File     string `json:"file"`
	Filename string `json:"filename"`
	Media    string `json:"media"`
	SHA256   string `json:"sha256"`
}

type manifestBrief struct {
	ID      string    `json:"id"`
	Made    time.Time `json:"made"`
	Title   string    `json:"title"`
	Rider   string    `json:"rider"`
	Rig     string    `json:"rig,omitempty"`
	Road    string    `json:"road,omitempty"`
	Course  string    `json:"course,omitempty"`
	Event   string    `json:"event,omitempty"`
	Demo    bool      `json:"demo,omitempty"`
	Request string    `json:"request,omitempty"` // the names of the files; none if empty
	Result  string    `json:"result,omitempty"`
	Page    string    `json:"page,omitempty"`
}

// manifestCheck is a check of a rig, with the corrections of it.
type manifestCheck struct {
	ID          string               `json:"id"`
	Made        time.Time            `json:"made"`
	Title       string               `json:"title"`
	Rider       string               `json:"rider"`
	Rig         string               `json:"rig"`
	Ride        string               `json:"ride,omitempty"`
	Report      string               `json:"report"`
	Corrections []manifestCorrection `json:"corrections,omitempty"`
}

type manifestCorrection struct {
	Source  string    `json:"source"`
	Applied time.Time `json:"applied"`
	Taken   time.Time `json:"taken,omitzero"`
}

// textFile is where an object's text lies in an archive.
func textFile(o Object) string { return fmt.Sprintf("%s/%s.yaml", o.Kind, o.ID) }

// originalFile keeps the original's name where every system can unpack it.
func originalFile(o Object) string {
	return path.Join("original", o.ID, "f-"+packedName(o.Original.Filename))
}

func packedName(filename string) string {
	name := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-", r) {
			return r
		}
		return '_'
	}, filename)
	return name[max(0, len(name)-80):]
}

func checkFile(id string) string { return path.Join("check", id, "report.json") }

func briefFile(id, name string) string { return path.Join("brief", id, name) }
