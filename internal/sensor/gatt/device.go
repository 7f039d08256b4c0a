package gatt

// DecodeBattery reads Battery Level (2A19) as a fraction. Values above 100 %
// are reserved: then the level is not known.
func DecodeBattery(b []byte) (level float64, known bool, err error) {
	r := reader{b: b}
	percent := r.u8()
	if err := r.err("battery level"); err != nil {
		return 0, false, err
	}
	if percent > 100 {
		return 0, false, nil
	}
	return float64(percent) / 100, true, nil
}

// AppendBattery appends a battery level, a fraction, to b.
func AppendBattery(b []byte, level float64) []byte {
	return appendUint(b, min(level, 1)*100, 1)
}

// DecodeText reads one of the strings of Device Information: valid text, up
// to its first zero, without control characters.
func DecodeText(b []byte) string { return text(b) }

// Product is the PnP ID of a device (2A50).
type Product struct {
	Source  uint8 // 1: numbers of the Bluetooth SIG; 2: of the USB forum
	Vendor  uint16
	Product uint16
	Version uint16 // 0x0110 is 1.1.0
}

// DecodeProduct reads PnP ID (2A50).
func DecodeProduct(b []byte) (Product, error) {
	r := reader{b: b}
	p := Product{Source: r.u8(), Vendor: r.u16(), Product: r.u16(), Version: r.u16()}
	if err := r.err("PnP ID"); err != nil {
		return Product{}, err
	}
	return p, nil
}

// Append appends the message to b.
func (p Product) Append(b []byte) []byte {
	b = append(b, p.Source)
	b = appendRaw(b, uint32(p.Vendor), 2)
	b = appendRaw(b, uint32(p.Product), 2)
	return appendRaw(b, uint32(p.Version), 2)
}
