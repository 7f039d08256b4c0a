package gallery

import "chainline/internal/web"

func next() []web.State {
	base := web.Base{Title: "Next ride", Section: "/"}
	steps := func(done int) []web.NextStep {
		all := []web.NextStep{{Says: "You", Why: "What you weigh and how you ride: two answers, and your name if you like.", Path: "/riders/new", Link: "Add yourself", Number: 1},
			{Says: "What you ride on", Why: "You are asked what you can see, not what it is called.", Path: "/rigs/new", Link: "Add what you ride on", Number: 2},
			{Says: "Where", Why: "A GPX or CSV file, or the length and climbing that a route list shows.", Path: "/courses/new", Link: "Add a course", Number: 3},
			{Says: "Your brief", Why: "What to hold where, and when you are likely home.", Path: "/briefs/new", Link: "Make the brief", Number: 4}}
		for i := range done {
			all[i].Done = true
		}
		return all
	}
	invented := steps(3)
	for i := range 3 {
		invented[i].Demo = true
	}
	choose := web.NewForm("/", map[string]string{"rider": "r1"}, nil)
	riders := []web.Field{choose.Field(web.Field{Name: "rider", Label: "For", Kind: "select", Options: []web.Option{{Value: "r1", Label: "Maren"}, {Value: "r2", Label: "Ilse"}}})}
	missing := []web.NextStep{{Says: "The health questions are not answered.", Why: "Until they are, no all-out test is suggested. A brief still plans a hard ride.", Path: "/riders/r1/health", Link: "Answer them"},
		{Says: "There is no fan in the room.", Why: "Without one the heat stays with you; a fan is the cheapest help there is.", Path: "/rigs/g1", Link: "Add one when you have it"}}
	path := []web.NextRide{{Number: 1, Name: "An easy ride", When: "done on 22 November 2026", Why: "Half an hour so easy that you could talk all the time.", State: "done", Says: "easy", SaysPath: "/riders/r1/first-rides", Unsay: true},
		{Number: 2, Name: "A check of the rig", When: "done on 24 November 2026", Why: "Whether its numbers can be trusted: half an hour of easy riding, one instruction at a time.", State: "done"},
		{Number: 3, Name: "A test that is not all-out", When: "today, or when you feel like it", Why: "A little harder every few minutes, until speaking in sentences just stops being comfortable; then stop.", Path: "/ride?session=test-talk", Link: "Ride it", Told: "/riders/r1/evidence/new", TellLink: "Enter what came of it", State: "next", Says: "test", SaysPath: "/riders/r1/first-rides"},
		{Number: 4, Name: "A first ride in a group", When: "from Sunday 29 November on", Why: "Find one that says it is easy, and start at the back.", State: "later"}}
	worth := []web.NextWorth{{Gain: "1:13", What: "Put a fan a metre in front, high", Why: "The heat can leave."}, {Gain: "surer", What: "Do a test", Why: "The finish would be known better."}}
	event := &web.NextEvent{Name: "Two Mills Tuesday", When: "Tue 8 December 2026, 19:30", Away: "in 13 days", Path: "/events/e1", Brief: web.NextStep{Path: "/briefs/x1", Link: "Read its brief", Done: true}}
	return []web.State{
		{Name: "next-empty", Page: &web.NextPage{Base: base, First: steps(0), Now: steps(0)[0], Demo: true}},
		{Name: "next-begun", Page: &web.NextPage{Base: base, First: steps(2), Now: steps(2)[2], Done: 2}},
		{Name: "next-invented", Page: &web.NextPage{Base: base, First: invented, Now: invented[3], Done: 3}},
		{Name: "next-nearly", Page: &web.NextPage{Base: base, First: steps(3), Now: steps(3)[3], Done: 3, Rider: "Maren", Missing: missing}},
		{Name: "next", Page: &web.NextPage{Base: base, Rider: "Maren", Riders: riders, Now: missing[0], Event: event, Missing: missing, Worth: worth, From: "Two Mills Tuesday"}},
		{Name: "next-newcomer", Page: &web.NextPage{Base: base, Rider: "Maren", Now: web.NextStep{Says: "A test that is not all-out: today.", Why: "Stop when speaking stops being comfortable.", Path: "/ride?session=test-talk", Link: "Ride it"}, Path: path, Picture: web.PathPicture(path)}},
		{Name: "next-guided", Page: &web.BriefsPage{Base: web.Base{Title: "Briefs", Section: "/briefs", Guide: &web.Guide{Number: 2, Path: "/rigs/new", Link: "Add what you ride on"}}, Empty: web.Empty{Says: "There is no brief yet."}}},
	}
}
