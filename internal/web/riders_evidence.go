package web

import (
	"net/http"
	"slices"
	"strings"

	"chainline/internal/form"
	"chainline/internal/store"
)

// riderKinds are the kinds of evidence, first those that need no power meter.
var riderKinds = []RiderKind{
	{"hill", "The time up a hill you know", "Its length and ascent, and how long it took you."},
	{"talk", "Where talking stops being comfortable", "The watts at which whole sentences become hard."},
	{"heart_rate", "Heart rate at an easy load", "Watts and heart rate after five even minutes."},
	{"threshold", "A threshold you were told", "In watts, and where it comes from."},
	{"best", "The best of a ride", "The highest mean power over a time, in a ride that may not have been all out."},
	{"ride", "The hardest effort of a ride", "The mean power that came nearest to your limit, and whether more was possible."},
	{"test", "A maximal test", "Mean power over a time ridden all out. Only after the health questions."},
}

// evidenceFields are the questions of a kind, by key.
func evidenceQuestions(kind string) []Field {
	harder := Field{Name: "harder", Label: "Could you have gone harder?", Kind: "radio", Unknown: true,
		Options: []Option{{Value: "no", Label: "No, nothing was left"}, {Value: "little", Label: "A little"}, {Value: "much", Label: "Much"}}}
	where := Field{Name: "where", Label: "Where was it?", Kind: "select", Unknown: true, Options: []Option{{Value: "indoor", Label: "Indoors"}, {Value: "outdoor", Label: "Outdoors"}}}
	source := Field{Name: "source", Label: "What showed the watts?", Hint: "As your rig names it. Left empty: the rig's own."}
	watts := Field{Name: "watts", Label: "Watts"}
	took := Field{Name: "duration_s", Label: "How long?", Hint: "Such as 20 min, 3:30 min or 180 s."}
	var out []Field
	switch kind {
	case "hill":
		out = []Field{{Name: "duration_s", Label: "How long did it take?", Hint: "Such as 11:10 min."}, {Name: "length_m", Label: "Length of the hill"},
			{Name: "ascent_m", Label: "What it rises"}, harder, {Name: "bike_mass_kg", Label: "Mass of the bike", Hint: "With bottle and tools. Left empty: a usual one."}}
	case "talk":
		out = []Field{watts, source, where}
	case "heart_rate":
		took.Label, took.Hint = "How long was it held?", "Three minutes or more."
		out = []Field{watts, {Name: "heart_rate_bpm", Label: "Heart rate at the end"}, took, source, where}
	case "threshold":
		out = []Field{watts, {Name: "from", Label: "Where does it come from?", Hint: "Such as 20-minute test, ramp, laboratory, submaximal half hour."}, source, where}
	default:
		out = []Field{took, watts, harder, source, where}
	}
	return append(out, Field{Name: "date", Label: "When?", Hint: "Left empty: about two months ago."},
		Field{Name: "use", Label: "Use it?", Kind: "select", Options: []Option{{Value: "", Label: "Yes"}, {Value: "no", Label: "No, keep it but leave it out"}}})
}

// NewEvidenceForm asks for a piece of evidence at a place of the rider's list.
func NewEvidenceForm(id, name, at, kind string, values, errs map[string]string, units form.Units, fresh bool) *RiderFormPage {
	path := "evidence." + at
	action := "/riders/" + id + "/evidence/" + at
	if fresh {
		action = "/riders/" + id + "/evidence/new"
	}
	p := &RiderFormPage{Base: riderBase("What is known of " + themselves(name)), Keep: "Keep this", Leave: "/riders/" + id}
	p.Form = NewForm(action, values, errs)
	part := RoadPart{}
	for _, k := range riderKinds {
		if k.Path == kind {
			part.Title, part.Hint = k.Name, k.Says
		}
	}
	part.Fields = append(part.Fields, p.Form.Field(Field{Name: path + ".kind", Kind: "hidden"}))
	part.Fields[0].Value = kind
	for _, q := range evidenceQuestions(kind) {
		q.Name = path + "." + q.Name
		part.Fields = append(part.Fields, keyField(p.Form, form.Rider, units, q))
	}
	p.Parts = []RoadPart{part}
	if !fresh {
		p.Drop = action + "/remove"
	}
	return p
}

// themselves is a name inside a sentence: who has none is called You.
func themselves(name string) string {
	if name == "You" {
		return "you"
	}
	return name
}

func knownKind(kind string) bool {
	return slices.ContainsFunc(riderKinds, func(k RiderKind) bool { return k.Path == kind })
}

// place is the number of a piece of evidence in an address; "new" is the one
// behind the last.
func place(values map[string]string, at string) (number string, fresh, ok bool) {
	if at == "new" {
		return strings.TrimPrefix(form.Next(values, "evidence"), "evidence."), true, true
	}
	return at, false, slices.Contains(form.Entries(values, "evidence"), "evidence."+at)
}

// evidenceAt is the rider of a request, their values in the given units, and
// the place of the evidence it is about.
func (s *Server) evidenceAt(r *http.Request, units form.Units) (o store.Object, values map[string]string, at string, fresh bool, err error) {
	if o, err = s.ofKind(r.Context(), store.Rider, r.PathValue("id")); err != nil {
		return o, nil, "", false, err
	}
	if values, err = form.ValuesIn(form.Rider, o.Text, units); err != nil {
		return o, nil, "", false, err
	}
	at, fresh, ok := place(values, r.PathValue("at"))
	if !ok {
		err = notFound("There is no such piece of evidence (any more).")
	}
	return o, values, at, fresh, err
}

func (s *Server) riderEvidence(w http.ResponseWriter, r *http.Request) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	o, values, at, fresh, err := s.evidenceAt(r, units)
	if err != nil {
		return err
	}
	kind := values["evidence."+at+".kind"]
	if fresh {
		if kind = r.FormValue("kind"); kind == "" {
			p := &RiderFormPage{Base: riderBase("What is known of " + themselves(o.Name)), Intro: "Choose what you know. Nothing here has to be a test, and the hill needs nothing that shows watts.", Leave: "/riders/" + o.ID, Form: NewForm("", nil, nil)}
			for _, k := range riderKinds {
				p.Kinds = append(p.Kinds, RiderKind{"/riders/" + o.ID + "/evidence/new?kind=" + k.Path, k.Name, k.Says})
			}
			return s.show(w, r, http.StatusOK, p)
		}
	}
	if !knownKind(kind) {
		return notFound("There is no such kind of evidence.")
	}
	return s.showEvidence(w, r, http.StatusOK, o, at, kind, values, nil, fresh)
}

// showEvidence shows the questions about one piece of evidence.
func (s *Server) showEvidence(w http.ResponseWriter, r *http.Request, status int, o store.Object, at, kind string, values, errs map[string]string, fresh bool) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := NewEvidenceForm(o.ID, o.Name, at, kind, values, errs, units, fresh)
	p.Form.Version = version(o)
	return s.show(w, r, status, p)
}

func (s *Server) changeEvidence(w http.ResponseWriter, r *http.Request) error {
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	o, now, at, fresh, err := s.evidenceAt(r, units)
	if err != nil {
		return err
	}
	sent, err := Typed(r)
	if err != nil {
		return err
	}
	kind := sent["evidence."+at+".kind"]
	if !knownKind(kind) {
		return notFound("There is no such kind of evidence.")
	}
	text, _, errs, err := s.riderText(r, o, Answers(sent))
	if err != nil {
		return err
	}
	if meanwhile(r, o) {
		sent, errs = overtaken(sent, now, errs)
		return s.showEvidence(w, r, http.StatusConflict, o, at, kind, sent, errs, fresh)
	}
	if len(errs) > 0 {
		return s.showEvidence(w, r, http.StatusUnprocessableEntity, o, at, kind, sent, errs, fresh)
	}
	old := o
	o.Text = text
	if _, done, err := s.put(r.Context(), o, old, func(store.Object) error { return s.changeEvidence(w, r) }); !done {
		return err
	}
	return s.see(w, r, "/riders/"+o.ID, "Kept."+readAs(form.Rider, old.Text, Answers(sent), units))
}

func (s *Server) askRemoveEvidence(w http.ResponseWriter, r *http.Request) error {
	o, values, at, fresh, err := s.evidenceAt(r, asFiled)
	if err != nil {
		return err
	}
	if fresh {
		return notFound("There is no such piece of evidence (any more).")
	}
	what := evidenceName(values["evidence."+at+".kind"])
	return s.show(w, r, http.StatusOK, &DeletePage{Base: riderBase("Remove this?"), Action: "/riders/" + o.ID + "/evidence/" + at + "/remove",
		Keep: "/riders/" + o.ID + "/evidence/" + at, Button: "Remove it", Version: version(o),
		Says: what + " of " + o.Name + " is really removed; there is no way back. To keep it and not use it, leave it out instead."})
}

func (s *Server) removeEvidence(w http.ResponseWriter, r *http.Request) error {
	o, values, at, fresh, err := s.evidenceAt(r, asFiled)
	if err != nil {
		return err
	}
	if fresh {
		return notFound("There is no such piece of evidence (any more).")
	}
	if meanwhile(r, o) { // evidence goes by its place in the list: another may stand there now
		return refuse(http.StatusConflict, "The rider was changed in another window meanwhile. Nothing was removed; go back and look again.")
	}
	text, errs := form.YAML(form.Rider, form.Without(values, "evidence."+at), asFiled)
	if len(errs) > 0 {
		return refuse(http.StatusConflict, "That cannot be removed: the rest of what is known of this rider would no longer make sense.")
	}
	old := o
	o.Text = text
	if _, done, err := s.put(r.Context(), o, old, func(store.Object) error { return s.removeEvidence(w, r) }); !done {
		return err
	}
	return s.see(w, r, "/riders/"+o.ID, "Removed.")
}
