package web

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"strings"

	"chainline/internal/store"
)

// Two windows that edit one thing: a form brings back the version of what it
// was made from. If that changed meanwhile the form is shown again with what
// was typed and, beside each answer that differs, what is kept now; keeping it
// once more replaces the other's change, on purpose.

// versionField is where a form says what it was made from.
const versionField = "_version"

// version tells apart what an object's form was filled from.
func version(o store.Object) string {
	if o.ID == "" {
		return ""
	}
	return o.Version()
}

// meanwhile is whether a form that was sent was made from another version of
// the object than the one that is kept. A form without a version was made by a
// program: it means what it says.
func meanwhile(r *http.Request, o store.Object) bool {
	was := r.PostFormValue(versionField)
	return was != "" && o.ID != "" && was != version(o)
}

// put keeps an object that was read as old. If somebody was faster by a blink,
// again is asked to handle the form anew with what is kept now.
func (s *Server) put(ctx context.Context, o, old store.Object, again func(now store.Object) error) (kept store.Object, done bool, err error) {
	defer s.warm()
	if old.ID == "" {
		kept, err = s.store.Put(ctx, o)
		return kept, err == nil, err
	}
	kept, err = s.store.PutOver(ctx, o, old.Version())
	if !errors.Is(err, store.ErrOvertaken) {
		return kept, err == nil, err
	}
	now, err := s.store.Object(ctx, o.ID)
	if errors.Is(err, store.ErrNotFound) {
		return kept, false, notFound("This was deleted in another window meanwhile.")
	}
	if err == nil {
		err = again(now)
	}
	return kept, false, err
}

// keptMark before a field's name in the values of a form is what is kept now,
// where somebody else kept another answer than the one that stands there.
const keptMark = "kept."

// overtaken are what was typed, with what is kept now where that differs, and
// what is wrong with a form, with that it was overtaken. Now are the values
// that the form of what is kept would have.
func overtaken(typed, now, errs map[string]string) (values, wrong map[string]string) {
	values, wrong = maps.Clone(typed), maps.Clone(errs)
	if values == nil {
		values = map[string]string{}
	}
	if wrong == nil {
		wrong = map[string]string{}
	}
	known := Answers(typed)
	differ := 0
	for name := range typed {
		if !strings.HasPrefix(name, unknownMark) && known[name] != now[name] {
			values[keptMark+name] = now[name]
			differ++
		}
	}
	for name, v := range now {
		if _, asked := typed[name]; !asked && v != "" {
			values[keptMark+name] = v // a row that the other window added
		}
	}
	says := "This was changed in another window since you opened it here. "
	if differ == 0 {
		says += "What stands below is what is kept now: the other change was the same, or is not on this form and stays."
	} else {
		says += "Where an answer below is not the one that is kept now, the kept one stands beside it. Change what you like and keep it: what stands in the form then replaces the other's."
	}
	wrong[""] = says
	return values, wrong
}
