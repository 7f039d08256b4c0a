package sensor

import (
	"time"

	"chainline/internal/sensor/gatt"
)

// ZeroOffset has a power meter set its zero offset: the bicycle stands
// still, nobody touches the pedals.
func (h *Hub) ZeroOffset(id string) Out {
	var out Out
	d, ok := h.byID[id]
	switch {
	case !ok || d.link != Connected:
		h.cannot(id, OffsetDone, "%s is not connected.", &out)
	case !d.takesOffset():
		h.cannot(id, OffsetDone, "%s has no zero offset that could be set from here.", &out)
	case !d.offsetSince.IsZero():
		h.cannot(id, OffsetDone, "%s is still at its zero offset.", &out)
	default:
		d.offsetSince = h.now
		if d.offsetSince.IsZero() {
			d.offsetSince = d.upAt
		}
		out.Requests = append(out.Requests, Request{
			Kind: Write, Device: d.id, Char: gatt.CyclingPowerControlPoint,
			Bytes: gatt.PowerRequest{Op: gatt.StartOffset}.Append(nil),
		})
	}
	return out
}

func (d *device) offsetWrote(err error, now time.Time, out *Out) {
	if d.offsetSince.IsZero() {
		return
	}
	d.offsetSince = now
	if err != nil {
		d.offsetSince = time.Time{}
		d.say(out, now, OffsetDone, "The zero offset of %s was not set: %v.", d.name(), err)
	}
}

func (d *device) offsetAnswered(p gatt.PowerResponse, now time.Time, out *Out) {
	if d.offsetSince.IsZero() || p.Op != gatt.StartOffset {
		return
	}
	d.offsetSince = time.Time{}
	if p.Result != gatt.Success {
		d.say(out, now, OffsetDone,
			"The zero offset of %s was not set: %s. Let the bicycle stand still, with nobody on the pedals, and repeat.",
			d.name(), p.Result)
		return
	}
	if raw, ok := p.Offset(); ok {
		d.say(out, now, OffsetDone, "The zero offset of %s is set; its raw value is %d.", d.name(), raw)
		return
	}
	d.say(out, now, OffsetDone, "The zero offset of %s is set.", d.name())
}

func (d *device) offsetTick(now time.Time, out *Out) {
	if d.offsetSince.IsZero() || now.Sub(d.offsetSince) < procedureTime {
		return
	}
	d.offsetSince = time.Time{}
	d.say(out, now, OffsetDone, "%s has not answered for %.0f s; its link is made anew.",
		d.name(), procedureTime.Seconds())
	d.end(now, out)
}
