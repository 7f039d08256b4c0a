// Package web is the pages of Chainline: the only package that knows how to
// serve HTTP to a browser.
//
// Where things are:
//
//	server.go    what a Server is made of, and its routes
//	guard.go     which requests are let in at all; visit.go who may come in
//	handle.go    from a handler's error to an answer
//	page.go      what every page has; templates.go how it is executed
//	forms.go     fields of forms, what was typed, errors beside the field
//	pages_X.go   the pages of one section: its structs, its routes
//	templates/   one file per page, parts/ for what pages share
//
// A page is a struct that embeds Base, a template of its name, one state or
// more in package gallery, and a route.
package web
