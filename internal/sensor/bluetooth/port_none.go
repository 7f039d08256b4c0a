//go:build !linux && !windows && !(darwin && cgo)

package bluetooth

import (
	"context"

	"chainline/internal/sensor"
)

// Open says that this build has no radio.
func Open(context.Context, Options) (sensor.Port, error) {
	return nil, radioTrouble("Bluetooth is not in this build of the program",
		"on macOS build it with CGO on; the bench rig and listening to a recording work without a radio", nil)
}
