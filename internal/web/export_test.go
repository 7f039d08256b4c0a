package web

import "chainline/internal/form"

// InImperial is a page of the gallery as whoever chose imperial units sees it,
// and whether it is one whose sentences are metric until then.
func InImperial(p Page, body string) (string, bool) {
	_, brief := p.(*BriefPage)
	return inUnits(body, form.Imperial, p.base().Title), brief || spokenInMetric(p)
}
