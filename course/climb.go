package course

// Climb is one climb of a course. Lengths in metres, gradients as fractions.
type Climb struct {
	Start    float64 // m from the start of the course
	Length   float64 // m
	Ascent   float64 // m gained from its foot to its top
	Mean     float64 // Ascent over Length
	Steepest float64 // mean gradient of its steepest 100 m (or of all of it, if shorter)
}
