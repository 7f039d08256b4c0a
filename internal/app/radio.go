package app

import (
	"context"

	"chainline/internal/sensor"
	"chainline/internal/sensor/bluetooth"
)

// Radio opens the radio of this machine.
func Radio() func(ctx context.Context) (sensor.Port, error) {
	return func(ctx context.Context) (sensor.Port, error) { return bluetooth.Open(ctx, bluetooth.Options{}) }
}
