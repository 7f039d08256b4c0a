package web

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Bringing rides in: many files, an archive or a folder, in the background.

// ImportPage asks for what is to be brought in.
type ImportPage struct {
	Base
	Form   *Form
	Who    []Field
	Path   Field
	Wrong  string // of the files
	Before []ImportLine
}

// ImportingPage is how an import stands.
type ImportingPage struct {
	Base
	ID       string
	Says     string
	Share    float64 // of the files that were found
	Known    bool    // Share means something
	Going    bool
	CanGoOn  bool
	Lines    [][2]string
	Refused  []service.ImportRefused
	More     int // that were refused and are not listed
	Failed   string
	Season   string
	NoRiders bool
}

// Template names the page's template.
func (*ImportPage) Template() string { return "import.html" }

// Template names the page's template.
func (*ImportingPage) Template() string { return "importing.html" }

// rideEndings are those of what is taken in.
const rideEndings = ".fit,.gpx,.csv,.tsv,.txt,.zip,.gz,.recording"

// maxImport is what one form may bring, and refusedListed how many refusals
// a page lists.
const (
	maxImport     = 4 << 30
	refusedListed = 100
)

// handleStream is a route that reads its body itself.
func (s *Server) handleStream(pattern string, h handler) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxImport)
		if err := h(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

// NewImportPage is the form that asks for rides.
func NewImportPage(riders, rigs []Option, typed, errs map[string]string) *ImportPage {
	f := NewForm("/import", typed, errs)
	p := &ImportPage{Base: ridesBase("Bring in rides"), Form: f, Wrong: errs["files"]}
	f.Field(Field{Name: "files", Label: "Files"}) // of which the page itself asks; the list of what is wrong names it
	p.Who = []Field{
		f.Field(Field{Name: "rider", Label: "Whose are they?", Kind: "select", Options: riders, Unknown: true}),
		f.Field(Field{Name: "rig", Label: "Those ridden indoors, on which rig?", Kind: "select", Options: rigs, Unknown: true})}
	p.Path = f.Field(Field{Name: "path", Label: "Or a folder on this machine", Hint: "Its whole path, like /home/me/rides. All in it is looked at, folders and archives in it too; nothing in it is changed."})
	return p
}

func (s *Server) askImport(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	return s.showImport(w, r, http.StatusOK, map[string]string{"rider": q.Get("rider"), "rig": q.Get("rig")}, nil)
}

func (s *Server) showImport(w http.ResponseWriter, r *http.Request, status int, typed, errs map[string]string) error {
	if s.library == nil {
		return errNoLibrary
	}
	_, riders, err := s.names(r.Context(), store.Rider)
	if err != nil {
		return err
	}
	_, rigs, err := s.names(r.Context(), store.Rig)
	if err != nil {
		return err
	}
	if typed["rider"] == "" && len(riders) == 1 && status == http.StatusOK {
		typed["rider"] = riders[0].Value
	}
	p := NewImportPage(riders, rigs, typed, errs)
	before, err := s.library.Imports(r.Context())
	if err != nil {
		return err
	}
	for _, m := range before[:min(5, len(before))] {
		p.Before = append(p.Before, ImportLine{"/import/" + string(m.ID), datesOf(r).day(m.Made) + ": " + importShort(m)})
	}
	return s.show(w, r, status, p)
}

// beginImport takes the files as they come, so that a season of them needs no
// memory, and starts the import.
func (s *Server) beginImport(w http.ResponseWriter, r *http.Request) error {
	if s.library == nil {
		return errNoLibrary
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return refuse(http.StatusBadRequest, "That form could not be read. Go back and send it again.")
	}
	q, typed := service.ImportRequest{}, map[string]string{}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if _, tooBig := errors.AsType[*http.MaxBytesError](err); tooBig {
			return err
		} else if err != nil {
			return refuse(http.StatusBadRequest, "Sending was broken off. Send it again.")
		}
		if err := s.importPart(r, part, &q, typed); err != nil {
			return err
		}
	}
	errs := map[string]string{}
	if path := typed["path"]; path != "" {
		if _, err := os.Stat(path); err != nil || !filepath.IsAbs(path) {
			errs["path"] = "There is no such folder or file on this machine; write its whole path."
		}
		q.Paths = []string{path}
	}
	if len(q.Paths)+len(q.Spooled) == 0 {
		errs["files"] = "No file came with it. Choose files, or write a folder's path."
	}
	q.RiderID, q.RigID = typed["rider"], typed["rig"]
	if len(errs) > 0 {
		return s.showImport(w, r, http.StatusUnprocessableEntity, typed, errs)
	}
	id, err := s.library.StartImport(r.Context(), q)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		return s.showImport(w, r, http.StatusUnprocessableEntity, typed, map[string]string{"": oneLine(e)})
	} else if err != nil {
		return err
	}
	return s.see(w, r, "/import/"+string(id), "")
}

// importPart takes one field or file of the form.
func (s *Server) importPart(r *http.Request, part *multipart.Part, q *service.ImportRequest, typed map[string]string) error {
	defer part.Close()
	if part.FileName() == "" {
		text, err := io.ReadAll(io.LimitReader(part, 4096))
		if part.FormName() != "files" { // an empty choice of files is one without a name
			typed[part.FormName()] = strings.TrimSpace(string(text))
		}
		return err
	}
	name, err := s.library.Spool(r.Context(), filepath.Base(part.FileName()), part)
	if err != nil {
		return err
	}
	q.Spooled = append(q.Spooled, name)
	return nil
}

// importing shows how an import stands; while it runs, the page asks again by
// a header that needs no script.
func (s *Server) importing(w http.ResponseWriter, r *http.Request) error {
	m, err := s.importOf(r)
	if err != nil {
		return err
	}
	p := NewImportingPage(m)
	if p.Going {
		w.Header().Set("Refresh", "2")
	}
	if !p.Going && m.New+m.Same > 0 {
		rows, err := s.library.Rides(r.Context(), "", service.RideFilter{Limit: 1})
		if err == nil && len(rows) > 0 && rows[0].RiderID != "" {
			p.Season = "/season/" + rows[0].RiderID
		}
	}
	return s.show(w, r, http.StatusOK, p)
}

func (s *Server) importOf(r *http.Request) (service.ImportProgress, error) {
	if s.library == nil {
		return service.ImportProgress{}, errNoLibrary
	}
	m, err := s.library.Import(r.Context(), service.ImportID(r.PathValue("id")))
	if errors.Is(err, store.ErrNotFound) {
		return m, notFound("There is no such import.")
	}
	return m, err
}

// NewImportingPage is the page of an import.
func NewImportingPage(m service.ImportProgress) *ImportingPage {
	p := &ImportingPage{Base: ridesBase("Rides are being brought in"), ID: string(m.ID), Failed: m.Failed}
	switch m.State {
	case service.ImportRunning:
		p.Going, p.Says = true, fmt.Sprintf("%d of the %d files found so far are read.", m.Done, m.Found)
	case service.ImportLearning:
		p.Going, p.Says = true, fmt.Sprintf("All files are in. What they teach is being reckoned; %d rides so far.", m.Learnt)
	case service.ImportCancelled:
		p.Title, p.CanGoOn, p.Says = "Bringing rides in was stopped", true, "What was brought in stays. It can go on where it stopped."
	case service.ImportFailed:
		p.Title, p.CanGoOn, p.Says = "Bringing rides in failed", true, "What was brought in stays. It can be tried again."
	default:
		p.Title, p.Says = "Rides are in", importShort(m)+"."
	}
	if m.Found > 0 && m.State == service.ImportRunning {
		p.Share, p.Known = float64(m.Done)/float64(m.Found), true
	}
	p.Lines = [][2]string{{"Files read", fmt.Sprintf("%d of %d", m.Done, m.Found)}, {"New rides", fmt.Sprint(m.New)}, {"Here already", fmt.Sprint(m.Same)}, {"Refused", fmt.Sprint(len(m.Refused))}, {"Learnt from", fmt.Sprint(m.Learnt)}}
	p.Refused = m.Refused[:min(len(m.Refused), refusedListed)]
	p.More = len(m.Refused) - len(p.Refused)
	return p
}

// importShort is an import in one line.
func importShort(m service.ImportProgress) string {
	says := fmt.Sprintf("%d new rides from %d files", m.New, m.Done)
	if m.New == 1 {
		says = fmt.Sprintf("1 new ride from %d files", m.Done)
	}
	if m.Same > 0 {
		says += fmt.Sprintf(", %d here already", m.Same)
	}
	if n := len(m.Refused); n > 0 {
		says += fmt.Sprintf(", %d refused", n)
	}
	switch m.State {
	case service.ImportCancelled:
		says += ", stopped"
	case service.ImportFailed:
		says += ", failed"
	case service.ImportRunning, service.ImportLearning:
		says += ", going on"
	}
	return says
}

func (s *Server) stopImport(w http.ResponseWriter, r *http.Request) error {
	m, err := s.importOf(r)
	if err != nil {
		return err
	}
	if err := s.library.CancelImport(r.Context(), m.ID); err != nil {
		return err
	}
	return s.see(w, r, "/import/"+string(m.ID), "")
}

func (s *Server) goOnImport(w http.ResponseWriter, r *http.Request) error {
	m, err := s.importOf(r)
	if err != nil {
		return err
	}
	if err := s.library.ResumeImport(r.Context(), m.ID); err != nil {
		return err
	}
	return s.see(w, r, "/import/"+string(m.ID), "")
}
