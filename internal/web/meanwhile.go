package web

import (
	"crypto/sha256"
	"encoding/base64"
	"maps"
	"net/http"

	"chainline/internal/store"
)

// Two windows that edit one thing: a form brings back the version of what it
// was made from. If that changed meanwhile the form is shown again with what
// was typed; keeping it once more replaces the other's change, on purpose.

// versionField is where a form says what it was made from.
const versionField = "_version"

// version tells apart what an object's form was filled from.
func version(o store.Object) string {
	if o.ID == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(o.Name + "\x00" + o.Text))
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

// meanwhile is whether a form that was sent was made from another version of
// the object than the one that is kept. A form without a version was made by a
// program: it means what it says.
func meanwhile(r *http.Request, o store.Object) bool {
	was := r.PostFormValue(versionField)
	return was != "" && o.ID != "" && was != version(o)
}

// overtaken adds to what is wrong with a form that it was overtaken.
func overtaken(errs map[string]string) map[string]string {
	all := maps.Clone(errs)
	if all == nil {
		all = map[string]string{}
	}
	all[""] = "This was changed in another window since you opened it here. What you typed stands below: keep it once more to replace the other change, or leave this page and open it again to see that."
	return all
}
