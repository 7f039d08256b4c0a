package session

import "errors"

// PlanWarmUp fits a warm-up to the start.
func PlanWarmUp(q Request) (WarmUp, error) { return WarmUp{}, errors.New("session: not built yet") }
