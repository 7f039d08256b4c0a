package web

import "html/template"

// pictureHTML is a picture of ours as it stands in a page.
type pictureHTML = template.HTML

// The pictures of rigs and fans: our own drawings, with lines in the colour
// of the text and the part that is asked about in the accent. What they show
// always stands beside them in words.

func drawn(view, body string) template.HTML {
	return template.HTML(`<svg class="drawn" viewBox="` + view + `" width="` + widthOf[view] + `" aria-hidden="true" focusable="false">` + body + `</svg>`)
}

const (
	wideView = "0 0 124 84"
	tallView = "0 0 72 84"
)

var widthOf = map[string]string{wideView: "124", tallView: "72"}

const (
	bikeGround = `<path class="faint" d="M4 80H120"/>`
	frontWheel = `<circle cx="94" cy="58" r="19"/>`
	rearWheel  = `<circle cx="34" cy="58" r="19"/>`
	bikeFrame  = `<path d="M34 58L60 58L82 30L50 32L34 58M60 58L47 24M41 23H54M79 22L94 58M79 22L88 20"/><circle cx="60" cy="58" r="5"/>`
)

// wheelPictures are by the answer to where the back wheel is.
var wheelPictures = map[string]template.HTML{
	"on": drawn(wideView, bikeGround+frontWheel+rearWheel+bikeFrame+
		`<g class="asked"><path d="M34 58L20 80M34 58L46 80M14 80H50"/><circle cx="12" cy="67" r="5"/><path d="M12 72L20 80"/></g>`),
	"off": drawn(wideView, bikeGround+frontWheel+bikeFrame+
		`<g class="asked"><rect x="17" y="47" width="34" height="24" rx="11"/><circle cx="34" cy="58" r="6"/><path d="M26 71L14 80M42 71L52 80M10 80H56"/></g>`),
	"rollers": drawn(wideView, `<g class="asked"><circle cx="20" cy="76" r="5"/><circle cx="48" cy="76" r="5"/><circle cx="96" cy="76" r="5"/><path d="M8 82H110"/></g>`+
		`<g transform="translate(0 -5)">`+frontWheel+rearWheel+bikeFrame+`</g>`),
	"no_bike": drawn(wideView, bikeGround+
		`<g class="asked"><circle cx="88" cy="56" r="16"/><path d="M24 80H106M40 80L50 58L88 56M50 58L44 26M37 25H52M88 56L80 24M76 24L92 20"/><circle cx="54" cy="58" r="5"/></g>`),
}

// kindPictures are by the kind of trainer.
var kindPictures = map[string]template.HTML{
	"plain": wheelPictures["on"], "controllable": wheelPictures["off"], "rollers": wheelPictures["rollers"], "bike": wheelPictures["no_bike"],
}

// fanBlades are those of a fan whose middle is at 0,0 and whose cage has a
// radius of 20.
const fanBlades = `<circle r="20"/><circle r="3"/>` +
	`<path d="M0 -3C-9 -8 -6 -17 3 -17C8 -13 5 -6 0 -3Z"/>` +
	`<path transform="rotate(120)" d="M0 -3C-9 -8 -6 -17 3 -17C8 -13 5 -6 0 -3Z"/>` +
	`<path transform="rotate(240)" d="M0 -3C-9 -8 -6 -17 3 -17C8 -13 5 -6 0 -3Z"/>`

// fanPictures are by the kind of fan.
var fanPictures = map[string]template.HTML{
	"none":     drawn(tallView, `<path class="faint" d="M8 80H64"/><circle class="faint" cx="36" cy="46" r="20" stroke-dasharray="3 5"/>`),
	"desk":     drawn(tallView, `<path class="faint" d="M4 66H68M12 66V80M60 66V80"/><g transform="translate(36 38) scale(.8)">`+fanBlades+`</g><path d="M36 54V60M26 65Q36 56 46 65Z"/>`),
	"pedestal": drawn(tallView, `<path class="faint" d="M8 80H64"/><g transform="translate(36 22) scale(.9)">`+fanBlades+`</g><path d="M36 40V74M22 79Q36 68 50 79Z"/>`),
	"floor":    drawn(tallView, `<path class="faint" d="M8 80H64"/><g transform="translate(36 52)">`+fanBlades+`</g><path d="M12 52H16M56 52H60M12 52V80M60 52V80M6 80H18M54 80H66"/>`),
	"industrial": drawn(tallView, `<path class="faint" d="M4 80H68"/><g transform="translate(36 40) scale(1.45)">`+fanBlades+`</g><circle cx="36" cy="40" r="33"/>`+
		`<path d="M16 67L12 80M56 67L60 80"/><circle cx="13" cy="78" r="3"/><circle cx="59" cy="78" r="3"/>`),
}
