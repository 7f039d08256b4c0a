package app

import (
	"context"

	"chainline/internal/sensor"
)

// Radio opens the radio of this machine; nil where this build has none.
func Radio() func(ctx context.Context) (sensor.Port, error) { return nil }
