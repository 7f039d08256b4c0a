// Package gatt reads and writes the messages of the Bluetooth SIG's open
// services for bicycles: Fitness Machine, Cycling Power, Cycling Speed and
// Cadence, Heart Rate, Battery and Device Information. It is pure: bytes to
// values and back, both ways, because the bench rig speaks the same bytes.
//
// Every multi-octet field is little-endian. Bits reserved for future use and
// octets after the last known field are ignored, as the Fitness Machine
// Profile asks of a collector; a message that ends too early is an error.
package gatt

// Services, by their assigned 16-bit numbers.
const (
	DeviceInformationService uint16 = 0x180A
	HeartRateService         uint16 = 0x180D
	BatteryService           uint16 = 0x180F
	SpeedCadenceService      uint16 = 0x1816
	CyclingPowerService      uint16 = 0x1818
	FitnessMachineService    uint16 = 0x1826
)

// Characteristics of the Fitness Machine Service.
const (
	FitnessMachineFeature uint16 = 0x2ACC // read
	IndoorBikeData        uint16 = 0x2AD2 // notify
	TrainingStatus        uint16 = 0x2AD3 // read, notify
	SpeedRange            uint16 = 0x2AD4 // read
	InclinationRange      uint16 = 0x2AD5 // read
	ResistanceRange       uint16 = 0x2AD6 // read
	HeartRateRange        uint16 = 0x2AD7 // read
	PowerRange            uint16 = 0x2AD8 // read
	MachineControlPoint   uint16 = 0x2AD9 // write, indicate
	MachineStatus         uint16 = 0x2ADA // notify
)

// Characteristics of the Cycling Power Service. SensorLocation is shared
// with Cycling Speed and Cadence.
const (
	CyclingPowerMeasurement  uint16 = 0x2A63 // notify
	CyclingPowerFeature      uint16 = 0x2A65 // read
	CyclingPowerControlPoint uint16 = 0x2A66 // write, indicate
	SensorLocation           uint16 = 0x2A5D // read
)

// Characteristics of the Cycling Speed and Cadence Service.
const (
	SpeedCadenceMeasurement  uint16 = 0x2A5B // notify
	SpeedCadenceFeature      uint16 = 0x2A5C // read
	SpeedCadenceControlPoint uint16 = 0x2A55 // write, indicate
)

// Characteristics of the Heart Rate Service.
const (
	HeartRateMeasurement  uint16 = 0x2A37 // notify
	BodySensorLocation    uint16 = 0x2A38 // read
	HeartRateControlPoint uint16 = 0x2A39 // write
)

// Characteristics of the Battery and Device Information Services. The serial
// number names one person's device, and nothing here needs it: it is known,
// and never read.
const (
	BatteryLevel     uint16 = 0x2A19 // read, notify
	SystemID         uint16 = 0x2A23 // read
	ModelNumber      uint16 = 0x2A24 // read
	SerialNumber     uint16 = 0x2A25 // read
	FirmwareRevision uint16 = 0x2A26 // read
	HardwareRevision uint16 = 0x2A27 // read
	SoftwareRevision uint16 = 0x2A28 // read
	ManufacturerName uint16 = 0x2A29 // read
	PnPID            uint16 = 0x2A50 // read
)

// Known are the characteristics to subscribe to after connecting, in the
// order to do it: indications of control points first, because a control
// point may refuse a write without them, then a machine's status, then what
// is measured.
var Known = []uint16{
	MachineControlPoint,
	CyclingPowerControlPoint,
	SpeedCadenceControlPoint,
	MachineStatus,
	TrainingStatus,
	IndoorBikeData,
	CyclingPowerMeasurement,
	SpeedCadenceMeasurement,
	HeartRateMeasurement,
	BatteryLevel,
}

// ReadOnUp are the characteristics to read once a device is up: what decides
// how it can be driven first, what is only said to a person last.
var ReadOnUp = []uint16{
	FitnessMachineFeature,
	PowerRange,
	ResistanceRange,
	InclinationRange,
	CyclingPowerFeature,
	SpeedCadenceFeature,
	SensorLocation,
	BodySensorLocation,
	BatteryLevel,
	FirmwareRevision,
	ManufacturerName,
	ModelNumber,
	HardwareRevision,
	SoftwareRevision,
	PnPID,
}

// Services are the services worth scanning for. Battery and Device
// Information are on too many other things to look for a bicycle by them.
var Services = []uint16{
	FitnessMachineService,
	CyclingPowerService,
	SpeedCadenceService,
	HeartRateService,
}

// indicated are the characteristics that indicate instead of notifying.
var indicated = map[uint16]bool{
	MachineControlPoint:      true,
	CyclingPowerControlPoint: true,
	SpeedCadenceControlPoint: true,
}

// Indicates reports whether a characteristic of Known sends indications;
// the others send notifications.
func Indicates(char uint16) bool { return indicated[char] }

// ServiceOf is the service a characteristic belongs to, 0 when it is not one
// of those above. SensorLocation stands in two services; CyclingPowerService
// is given for it.
func ServiceOf(char uint16) uint16 {
	switch {
	case char >= FitnessMachineFeature && char <= MachineStatus:
		return FitnessMachineService
	case char >= CyclingPowerMeasurement && char <= CyclingPowerControlPoint,
		char == SensorLocation:
		return CyclingPowerService
	case char == SpeedCadenceMeasurement, char == SpeedCadenceFeature, char == SpeedCadenceControlPoint:
		return SpeedCadenceService
	case char >= HeartRateMeasurement && char <= HeartRateControlPoint:
		return HeartRateService
	case char == BatteryLevel:
		return BatteryService
	case char >= SystemID && char <= ManufacturerName, char == PnPID:
		return DeviceInformationService
	}
	return 0
}
