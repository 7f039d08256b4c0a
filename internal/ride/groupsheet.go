package ride

// GroupSheet is a live group course as one page shows it at an instant: where
// everybody is, how far apart in seconds, and what the group does to this ride.
type GroupSheet struct {
	Title   string        `json:"title"`
	Host    bool          `json:"host"`     // this machine is the host's
	Link    string        `json:"link"`     // LinkHere, LinkWell, LinkSlow or LinkSilent
	SilentS float64       `json:"silent_s"` // since the host was last heard
	ClockS  float64       `json:"clock_s"`  // since the group's gun, negative before it; 0 without a gun
	GunSet  bool          `json:"gun_set"`
	Riders  []GroupDot    `json:"riders"`  // front to back, you among them
	Shelter float64       `json:"shelter"` // share of own air drag left by riders near; 1 none
	Extra   float64       `json:"extra"`   // share left by the host's keeping together; 1 none
	Keep    bool          `json:"keep"`    // the host keeps the group together
	Phrases []GroupPhrase `json:"phrases,omitempty"`
}

// How a ride is linked to its group's host.
const (
	LinkHere   = "here"   // the host is this machine
	LinkWell   = "well"   //
	LinkSlow   = "slow"   // answers take long or some are lost
	LinkSilent = "silent" // the host was not heard for five seconds
)

// GroupDot is one rider of a group on the strip.
type GroupDot struct {
	Key     string  `json:"key"`
	Name    string  `json:"name"`
	You     bool    `json:"you"`
	AtM     float64 `json:"at_m"`
	SpeedMS float64 `json:"speed_m_s"`
	BehindS float64 `json:"behind_s"` // s behind you, by when each passed the same place; negative: ahead of you
	Known   bool    `json:"known"`    // whether BehindS is known
	State   string  `json:"state"`    // DotWaiting, DotRiding, DotSilent, DotGone or DotHome
	SilentS float64 `json:"silent_s"` // since their last report
	LateS   float64 `json:"late_s"`   // left the line so long after the gun; 0: with it
	Extra   bool    `json:"extra"`    // rides with the host's help now
}

// What a rider of a group does.
const (
	DotWaiting = "waiting"
	DotRiding  = "riding"
	DotSilent  = "silent" // not heard of for fifteen seconds: stands where last reckoned
	DotGone    = "gone"   // ended before the line
	DotHome    = "home"
)

// GroupPhrase is one of the fixed phrases, as said in the last twenty seconds.
type GroupPhrase struct {
	From  string  `json:"from"`
	Words string  `json:"words"`
	AgoS  float64 `json:"ago_s"`
}

// Phrases are what a rider can say to the group by key.
var Phrases = []string{"All well", "Please ease a little", "I am easing", "Gap behind me", "Going on without me is fine", "I am done for today"}
