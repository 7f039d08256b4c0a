package gatt

import "testing"

func encodeRequest(q MachineRequest) []byte { return q.Append(nil) }

// Fitness Machine Service 1.0 and 1.0.1, 4.16, with the simulation of Table 4.20: read.
// The two-octet resistance is secondary. Wind is in m/s; the sign that means
// head wind was not found.
func TestPublishedMachineRequests(t *testing.T) {
	check(t, DecodeMachineRequest, encodeRequest, []both[MachineRequest]{
		{name: "request control", wire: "00", want: MachineRequest{Op: RequestControl}},
		{name: "reset", wire: "01", want: MachineRequest{Op: ResetMachine}},
		{name: "speed", wire: "02 C4 09", want: MachineRequest{Op: SetSpeed, Value: 25 / 3.6}},
		{name: "inclination", wire: "03 2D 00", want: MachineRequest{Op: SetInclination, Value: 0.045}},
		{name: "resistance", wire: "04 7D", want: MachineRequest{Op: SetResistance, Value: 12.5}},
		{name: "resistance, two octets", wire: "04 7D 00", want: MachineRequest{Op: SetResistance, Value: 12.5, Wide: true}},
		{name: "200 W", wire: "05 C8 00", want: MachineRequest{Op: SetPower, Value: 200}},
		{name: "1000 W", wire: "05 E8 03", want: MachineRequest{Op: SetPower, Value: 1000}},
		{name: "-100 W", wire: "05 9C FF", want: MachineRequest{Op: SetPower, Value: -100}},
		{name: "heart rate", wire: "06 8C", want: MachineRequest{Op: SetHeartRate, Value: 140}},
		{name: "start", wire: "07", want: MachineRequest{Op: StartOrResume}},
		{name: "stop", wire: "08 01", want: MachineRequest{Op: StopOrPause, Value: MachineStop}},
		{name: "pause", wire: "08 02", want: MachineRequest{Op: StopOrPause, Value: MachinePause}},
		{
			name: "simulation uphill", wire: "11 AC 0D A9 01 28 33",
			want: MachineRequest{Op: SetSimulation, Simulation: Simulation{Wind: 3.5, Gradient: 0.0425, Crr: 0.004, Cw: 0.51}},
		},
		{
			name: "simulation downhill", wire: "11 30 F8 12 FD 21 3C",
			want: MachineRequest{Op: SetSimulation, Simulation: Simulation{Wind: -2, Gradient: -0.075, Crr: 0.0033, Cw: 0.6}},
		},
		{name: "wheel", wire: "12 3A 52", want: MachineRequest{Op: SetWheelCircumference, Value: 2.105}},
		{name: "spin-down", wire: "13 01", want: MachineRequest{Op: SpinDown, Value: SpinDownStart}},
		{name: "no spin-down", wire: "13 02", want: MachineRequest{Op: SpinDown, Value: SpinDownIgnore}},
		{name: "cadence", wire: "14 B4 00", want: MachineRequest{Op: SetCadence, Value: 90}},
	})
	for _, wire := range []string{"02 C4 09", "05 C8 00", "11 AC 0D A9 01 28 33", "04 7D", "12 3A 52"} {
		short(t, DecodeMachineRequest, wire)
	}
}

// The limits of the simulation's fields, Fitness Machine Service 1.0, Table
// 4.20: read. The other scale of Crr is secondary (a chip vendor's header).
func TestPublishedSimulationScale(t *testing.T) {
	limits := Simulation{Wind: 32.767, Gradient: 3.2767, Crr: 0.0255, Cw: 2.55}
	beyond := Simulation{Wind: 99, Gradient: 9, Crr: 1, Cw: 9}
	at := string(encodeRequest(MachineRequest{Op: SetSimulation, Simulation: limits}))
	if at != string(octets(t, "11 FF 7F FF 7F FF FF")) {
		t.Errorf("limits: % X", at)
	}
	if got := string(encodeRequest(MachineRequest{Op: SetSimulation, Simulation: beyond})); got != at {
		t.Errorf("beyond the limits: % X", got)
	}
	coarse := MachineRequest{Op: SetSimulation, Simulation: Simulation{Crr: 0.004, CrrPer: 1000}}
	if b := encodeRequest(coarse); b[5] != 4 {
		t.Errorf("Crr 0.004 in thousandths is %d", b[5])
	}
}

func TestOtherRequests(t *testing.T) {
	check(t, DecodeMachineRequest, encodeRequest, []both[MachineRequest]{
		{name: "energy", wire: "09 2C 01", want: MachineRequest{Op: SetEnergy, Value: 300}},
		{name: "distance", wire: "0C 40 9C 00", want: MachineRequest{Op: SetDistance, Value: 40000}},
		{name: "time", wire: "0D 10 0E", want: MachineRequest{Op: SetTime, Value: 3600}},
		{name: "two zones", wire: "0E 3C 00 78 00", want: MachineRequest{Op: SetTimeInTwoZones, Times: [5]float64{60, 120}}},
		{
			name: "five zones", wire: "10 01 00 02 00 03 00 04 00 05 00",
			want: MachineRequest{Op: SetTimeInFiveZones, Times: [5]float64{1, 2, 3, 4, 5}},
		},
		{name: "unknown", wire: "7F 01", want: MachineRequest{Op: 0x7F}, back: "7F"},
	})
}

// Fitness Machine Service 1.0 and 1.0.1, 4.16.2, Table 4.24 and spin-down
// parameters: read.
func TestPublishedMachineResponses(t *testing.T) {
	check(t, DecodeMachineResponse, func(p MachineResponse) []byte { return p.Append(nil) }, []both[MachineResponse]{
		{name: "control granted", wire: "80 00 01", want: MachineResponse{Op: RequestControl, Result: Success}},
		{name: "control refused", wire: "80 00 05", want: MachineResponse{Op: RequestControl, Result: NotPermitted}},
		{name: "reset", wire: "80 01 01", want: MachineResponse{Op: ResetMachine, Result: Success}},
		{name: "already started", wire: "80 07 04", want: MachineResponse{Op: StartOrResume, Result: OperationFailed}},
		{name: "no simulation", wire: "80 11 02", want: MachineResponse{Op: SetSimulation, Result: NotSupported}},
		{name: "power refused", wire: "80 05 03", want: MachineResponse{Op: SetPower, Result: InvalidParameter}},
		{name: "no control", wire: "80 05 05", want: MachineResponse{Op: SetPower, Result: NotPermitted}},
		{
			name: "spin-down begins", wire: "80 13 01 D0 07 10 0E",
			want: MachineResponse{Op: SpinDown, Result: Success, HasSpeeds: true, Low: 20 / 3.6, High: 36 / 3.6},
		},
		{name: "spin-down ignored", wire: "80 13 01", want: MachineResponse{Op: SpinDown, Result: Success}},
	})
	short(t, DecodeMachineResponse, "80 05 05")
}

// Fitness Machine Service 1.0.1, Tables 4.26 and 4.27: read; 0x14 is the
// spin-down, against the Profile's 4.4.14.2.20, which has 0x13. One octet of
// resistance is secondary; octets after a success are in Appendix A.3.1.
func TestPublishedMachineStatus(t *testing.T) {
	check(t, DecodeStatus, func(s Status) []byte { return s.Append(nil) }, []both[Status]{
		{name: "power", wire: "08 FA 00", want: Status{Op: StatusPower, Value: 250}},
		{name: "paused", wire: "02 02", want: Status{Op: StatusStopped, Value: MachinePause}},
		{name: "resistance", wire: "07 7D 00", want: Status{Op: StatusResistance, Value: 12.5}},
		{name: "resistance, one octet", wire: "07 7D", want: Status{Op: StatusResistance, Value: 12.5, Narrow: true}},
		{
			name: "simulation", wire: "12 AC 0D A9 01 28 33",
			want: Status{Op: StatusSimulation, Simulation: Simulation{Wind: 3.5, Gradient: 0.0425, Crr: 0.004, Cw: 0.51}},
		},
		{name: "spin-down asked for", wire: "14 01", want: Status{Op: StatusSpinDown, Value: SpinDownRequested}},
		{name: "stop pedalling", wire: "14 04", want: Status{Op: StatusSpinDown, Value: SpinDownStopPedaling}},
		{
			name: "success and a time nobody describes", wire: "14 02 20 4E",
			want: Status{Op: StatusSpinDown, Value: SpinDownSuccess}, back: "14 02",
		},
		{name: "control lost", wire: "FF", want: Status{Op: StatusControlLost}},
		{name: "reset", wire: "01", want: Status{Op: StatusReset}},
		{name: "safety key", wire: "03", want: Status{Op: StatusSafetyKey}},
		{name: "started", wire: "04", want: Status{Op: StatusStarted}},
		{name: "speed", wire: "05 C4 09", want: Status{Op: StatusSpeed, Value: 25 / 3.6}},
		{name: "inclination", wire: "06 2D 00", want: Status{Op: StatusInclination, Value: 0.045}},
		{name: "heart rate", wire: "09 8C", want: Status{Op: StatusHeartRate, Value: 140}},
		{name: "wheel", wire: "13 3A 52", want: Status{Op: StatusWheelCircumference, Value: 2.105}},
		{name: "cadence", wire: "15 B4 00", want: Status{Op: StatusCadence, Value: 90}},
		{name: "two zones", wire: "0F 3C 00 78 00", want: Status{Op: StatusTimeInTwoZones, Times: [5]float64{60, 120}}},
		{name: "distance", wire: "0D 40 9C 00", want: Status{Op: StatusDistance, Value: 40000}},
	})
	for _, wire := range []string{"08 FA 00", "02 02", "14 01", "07 7D", "12 AC 0D A9 01 28 33"} {
		short(t, DecodeStatus, wire)
	}
}
