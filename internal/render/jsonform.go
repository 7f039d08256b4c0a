package render

import "chainline/estimate"

// The form of the JSON, for whoever describes it to programs (internal/api)
// or writes parts of it alike.
type (
	BriefJSON    = briefJSON
	EstimateJSON = estimateJSON
	Number       = num
)

// Estimate is an estimate as the JSON of a brief has it.
func Estimate(e estimate.Estimate) EstimateJSON { return newEstimate(e) }
