package debrief

import (
	"fmt"

	"chainline/room"
)

// The room after the ride: what the scales said of sweat, and what to drink
// next time.

// Weighing is a weighing before and after a ride, and the ride to plan for.
type Weighing struct {
	Room   room.Room
	Body   room.Body // with the weighings known before
	Scales room.SweatMeasurement
	Next   room.Effort
}

// Weighed is what the scales said.
type Weighed struct {
	RateLPerH     float64     `json:"sweat_l_per_h"`
	ChangePercent float64     `json:"mass_change_percent"` // of body mass over the ride, losses negative
	Caution       string      `json:"caution,omitempty"`
	Before        RoomNumbers `json:"before"` // of the next ride, without this weighing
	After         RoomNumbers `json:"after"`
	Sentence      string      `json:"sentence"`
}

// RoomNumbers are sweat and drink of a ride to come.
type RoomNumbers struct {
	SweatLPerH Interval `json:"sweat_l_per_h"`
	LossL      Interval `json:"loss_l"`
	DrinkLow   float64  `json:"drink_low_l"`
	DrinkHigh  float64  `json:"drink_high_l"`
	Drink      string   `json:"drink"`
}

// Weigh learns the sweat rate and plans the next ride's fluid without and with
// it: the weighing is a normal likelihood about a normal prior of the
// logarithm (room.Look). The error says which figure of the weighing cannot
// be.
func Weigh(q Weighing) (Weighed, error) {
	rate, err := room.SweatFromWeighing(q.Scales)
	if err != nil {
		return Weighed{}, err
	}
	s := q.Scales
	w := Weighed{RateLPerH: rate}
	w.ChangePercent, w.Caution = room.CheckDrinking(rate*s.Seconds/3600, s.DrinkL, s.BeforeKg)
	if w.Caution != "" {
		w.Caution = changed(w.ChangePercent)
	}
	w.Before = roomNumbers(q.Room, q.Body, q.Next)
	body := q.Body
	body.SweatRate = append(append(room.SweatMeasurements(nil), body.SweatRate...), s)
	w.After = roomNumbers(q.Room, body, q.Next)
	a, b := w.Before.SweatLPerH, w.After.SweatLPerH
	w.Sentence = fmt.Sprintf("You lost %.2f l/h. For the next ride %.2f to %.2f l/h are expected, before the weighing it was %.2f to %.2f. %s", rate, b.Low80, b.High80, a.Low80, a.High80, w.After.Drink)
	return w, nil
}

// changed is the caution for what happened, not for what is planned.
func changed(percent float64) string {
	if percent > 0 {
		return fmt.Sprintf("You drank more than you lost (%.1f %% of your mass). That can make you seriously ill (low blood sodium): feeling sick, headache, dizziness. Drink less next time; confusion or a seizure is an emergency.", percent)
	}
	return fmt.Sprintf("You lost %.1f %% of your mass, more than the 2 %% that is advised. Make the next one cooler, shorter or easier, or drink a little more, never more than you lose.", -percent)
}

func roomNumbers(r room.Room, b room.Body, e room.Effort) RoomNumbers {
	o := room.Look(r, b, e)
	return RoomNumbers{interval(o.SweatLPerH), interval(o.LossL), o.FluidLow, o.FluidHigh, o.Drink}
}
