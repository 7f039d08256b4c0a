package gallery

import (
	"html/template"

	"chainline/internal/web"
)

const outline = template.HTML(`<svg class="thumb" viewBox="0 0 120 37" width="120" height="37" aria-hidden="true"><path class="ground" d="M0 32L30 30L62 6L90 28L120 31L120 36L0 36Z"/><path class="outline" d="M0 32L30 30L62 6L90 28L120 31"/></svg>`)

const twoHills = "distance_m,elevation_m\n0,12\n3000,20\n5200,160\n7000,80\n9400,260\n9900,255\n14000,40\n18000,30\n19500,95\n21400,12\n"

func courses() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/courses", Here: "/courses"} }
	page := func(id, name, filename, file string, uploaded bool) *web.CoursePage {
		return web.NewCoursePage(id, name, filename, []byte(file), uploaded, 0)
	}
	pick := web.NewForm("/courses", map[string]string{"rider": "r1", "rig": "g1", "minutes": "60"}, nil)
	choices := []web.Field{
		pick.Field(web.Field{Name: "rider", Label: "Rider", Kind: "select", Options: []web.Option{{Value: "r1", Label: "Maren"}}}),
		pick.Field(web.Field{Name: "rig", Label: "Rig", Kind: "select", Options: []web.Option{{Value: "g1", Label: "Box room"}}}),
		pick.Field(web.Field{Name: "minutes", Label: "Time at hand", Kind: "select", Options: []web.Option{{Label: "Any"}, {Value: "60", Label: "1 h"}}}),
		pick.Field(web.Field{Name: "hard", Label: "How hard", Kind: "select", Options: []web.Option{{Label: "Any"}, {Value: "light", Label: "Light: load up to 0.5"}}}),
	}
	sorts := []web.CourseSort{{Key: "name", Label: "name", Path: "/courses?sort=name"}, {Key: "time", Label: "time", Path: "/courses?sort=time", Current: true}}
	rows := []web.CourseRow{
		{ID: "c1", Name: "Two mills", Thumb: outline, Distance: "21.4 km", Ascent: "452 m", Time: "47 min", Range: "45 min to 50 min", Load: "0.74", Hard: "solid"},
		{ID: "c2", Name: "The long way round by the reservoir and over the moor", Thumb: outline, Distance: "88.0 km", Ascent: "1240 m", Sketch: true, Time: "2 h 58", Range: "2 h 49 to 3 h 09", Load: "2.21", Hard: "very hard"},
		{ID: "c3", Name: "Not yet reckoned", Thumb: outline, Distance: "12.0 km", Ascent: "90 m"},
		{ID: "c4", Name: "From elsewhere", Wrong: "old.gpx: line 3 is no point of a track."},
	}
	sketch := map[string]string{"distance_km": "twenty", "ascent_m": "310", "laps": "3", "main_climb.gradient_percent": "6"}
	errs := map[string]string{"distance_km": "“twenty” is no length; write one like 21.4 km.", "main_climb.length_km": "The main climb needs its length as well.", "": "The sketch does not work out."}
	return []web.State{
		{Name: "courses-empty", Page: &web.CoursesPage{Base: base("Courses"), None: true, Drop: web.NewCourseDrop(nil, nil), Empty: web.Empty{Says: "There is no course yet.", Why: "Drop a GPX or CSV file here, or type what a route list shows."}}},
		{Name: "courses", Page: &web.CoursesPage{Base: base("Courses"), Drop: web.NewCourseDrop(nil, nil), HasRider: true, Choices: choices, Sort: "time", Sorts: sorts, Rows: rows, Hidden: 2, Waiting: 1, Assumed: "No rig is kept yet, so this is as on a trainer that follows the course by itself."}},
		{Name: "courses-nobody", Page: &web.CoursesPage{Base: base("Courses"), Drop: web.NewCourseDrop(nil, nil), Sorts: sorts, Rows: []web.CourseRow{{ID: "c1", Name: "Two mills", Thumb: outline, Distance: "21.4 km", Ascent: "452 m"}}}},
		{Name: "courses-none-fits", Page: &web.CoursesPage{Base: base("Courses"), Drop: web.NewCourseDrop(nil, nil), HasRider: true, Choices: choices, Sorts: sorts, Hidden: 1}},
		{Name: "course-new", Page: &web.CourseNewPage{Base: base("A new course"), Back: "/courses", Drop: web.NewCourseDrop(nil, nil), Sketch: web.NewCourseSketch("/courses/sketch", nil, nil, 0)}},
		{Name: "course-new-wrong-file", Page: &web.CourseNewPage{Base: base("Not kept yet: a new course"), Back: "/courses", Sketch: web.NewCourseSketch("/courses/sketch", nil, nil, 0),
			Drop: web.NewCourseDrop(map[string]string{"file_name": "Two mills"}, map[string]string{"file": "mills.csv: line 4, elevation_m: \"x\" is not a number; expected metres"})}},
		{Name: "course-new-wrong", Page: &web.CourseNewPage{Base: base("Not kept yet: a new course"), Back: "/courses", First: "sketch", Drop: web.NewCourseDrop(nil, nil), Sketch: web.NewCourseSketch("/courses/sketch", sketch, errs, 0)}},
		{Name: "course", Page: page("c1", "Two mills", "two-mills.csv", twoHills, true)},
		{Name: "course-flat", Page: page("c1", "The canal", "canal.csv", "distance_m,elevation_m\n0,12\n9000,12\n", true)},
		{Name: "course-sketch", Page: page("c2", "By the reservoir", "course.yaml", "distance_km: 38\nascent_m: 520\nmain_climb: {length_km: 5.2, ascent_m: 317}\n", false)},
		{Name: "course-unread", Page: page("c4", "From elsewhere", "old.csv", "nothing\n", true)},
		{Name: "course-edit", Page: &web.CourseNewPage{Base: base("Change By the reservoir"), Back: "/courses/c2", Only: "sketch", Sketch: web.NewCourseSketch("/courses/c2/edit", map[string]string{"name": "By the reservoir", "distance_km": "38", "ascent_m": "520"}, nil, 0)}},
		{Name: "course-rename", Page: &web.CourseNewPage{Base: base("Change Two mills"), Back: "/courses/c1", Only: "name", Sketch: web.NewCourseName("/courses/c1/edit", map[string]string{"name": "Two mills"}, nil)}},
	}
}
