package evdev

import "math"

// AbsInfo describes an absolute axis as the kernel does (struct input_absinfo).
// Flat is the half-width around the centre that the driver calls still.
type AbsInfo struct {
	Value, Min, Max, Fuzz, Flat, Resolution int32
}

type axisRole uint8

const (
	axisUnused  axisRole = iota
	axisPair             // two directions about a centre
	axisTrigger          // one button, pressed away from the minimum
)

// An axis turns the values of an ABS code into one or two keys. Its thresholds are
// worked out once, in the axis' own units, so that an event costs two comparisons.
type axis struct {
	role          axisRole
	bit           uint8  // this axis' share in holding its keys down
	neg, pos      uint16 // slots of the keys
	negOn, negOff int32  // neg goes down at ≤ negOn and up above negOff
	posOn, posOff int32  // pos goes down at ≥ posOn and up below posOff
}

// The stick directions follow the EV_KEY codes in the decoder's slots.
const (
	slotStickUp = firstStick + iota
	slotStickDown
	slotStickLeft
	slotStickRight
	slotStick2Up
	slotStick2Down
	slotStick2Left
	slotStick2Right
)

func stick(neg, pos uint16, info AbsInfo, t Thresholds) axis {
	lo, hi := float64(info.Min), float64(info.Max)
	if !(hi > lo) {
		return axis{}
	}
	centre, half := (lo+hi)/2, (hi-lo)/2
	// Within flat the driver itself calls the axis still, so a direction begins beyond it.
	on, off := t.StickOn*half, t.StickOff*half
	if flat := float64(info.Flat); flat > off && flat < half {
		off = flat
		on = max(on, flat+(half-flat)/10)
	}
	return axis{
		role: axisPair, neg: neg, pos: pos,
		negOn: toInt(math.Floor(centre - on)), negOff: toInt(math.Ceil(centre-off) - 1),
		posOn: toInt(math.Ceil(centre + on)), posOff: toInt(math.Floor(centre+off) + 1),
	}
}

func hat(neg, pos uint16) axis {
	return axis{role: axisPair, neg: neg, pos: pos, negOn: -1, negOff: -1, posOn: 1, posOff: 1}
}

func trigger(pos uint16, info AbsInfo, t Thresholds) axis {
	lo, hi := float64(info.Min), float64(info.Max)
	if !(hi > lo) {
		return axis{}
	}
	on := toInt(math.Ceil(lo + t.TriggerOn*(hi-lo)))
	if on <= info.Min {
		on = info.Min + 1
	}
	off := min(toInt(math.Ceil(lo+t.TriggerOff*(hi-lo))), on)
	if off <= info.Min {
		off = info.Min + 1
	}
	return axis{role: axisTrigger, pos: pos, posOn: on, posOff: off}
}

func toInt(v float64) int32 {
	return int32(max(math.MinInt32, min(math.MaxInt32, v)))
}

// atMinimum tells whether an axis now lies within a tenth of its range of its minimum.
func atMinimum(i AbsInfo) bool {
	return int64(i.Value)-int64(i.Min) <= (int64(i.Max)-int64(i.Min))/10
}

// layAxes says what each absolute axis of a device is, from those it has.
//
// The kernel's gamepad document gives the left stick ABS_X and ABS_Y, the right
// one ABS_RX and ABS_RY, the D-pad hat 0, and the triggers ABS_HAT1X (tr), HAT1Y
// (tl), HAT2X (tr2) and HAT2Y (tl2). Common drivers differ: with ABS_RX and ABS_RY
// for the right stick, ABS_Z and ABS_RZ are the analogue triggers; without them
// (many plain HID pads) ABS_Z and ABS_RZ are the right stick, and the triggers, if
// analogue, are ABS_BRAKE and ABS_GAS. Where both pairs are there, and at opening
// ABS_RX and ABS_RY rest at their minimum while ABS_Z and ABS_RZ do not, the pairs
// have changed roles: a stick rests in the middle, a trigger at its end.
func layAxes(abs map[uint16]AbsInfo, t Thresholds) (axes [absCount]axis) {
	has := func(codes ...uint16) bool {
		for _, c := range codes {
			if _, ok := abs[c]; !ok {
				return false
			}
		}
		return true
	}
	put := func(code uint16, a axis) { axes[code] = a }
	if has(absX) {
		put(absX, stick(slotStickLeft, slotStickRight, abs[absX], t))
	}
	if has(absY) {
		put(absY, stick(slotStickUp, slotStickDown, abs[absY], t))
	}
	right := func(x, y uint16) {
		put(x, stick(slotStick2Left, slotStick2Right, abs[x], t))
		put(y, stick(slotStick2Up, slotStick2Down, abs[y], t))
	}
	triggers := func(l, r uint16) {
		put(l, trigger(btnTL2, abs[l], t))
		put(r, trigger(btnTR2, abs[r], t))
	}
	switch z, r := has(absZ, absRZ), has(absRX, absRY); {
	case z && r:
		if atMinimum(abs[absRX]) && atMinimum(abs[absRY]) && !atMinimum(abs[absZ]) && !atMinimum(abs[absRZ]) {
			right(absZ, absRZ)
			triggers(absRX, absRY)
		} else {
			right(absRX, absRY)
			triggers(absZ, absRZ)
		}
	case r:
		right(absRX, absRY)
	case z:
		right(absZ, absRZ)
	}
	if has(absBrake) {
		put(absBrake, trigger(btnTL2, abs[absBrake], t))
	}
	if has(absGas) {
		put(absGas, trigger(btnTR2, abs[absGas], t))
	}
	// A hat that goes below nought is a hat of a stick, not a trigger.
	for code, slot := range map[uint16]uint16{absHat1X: btnTR, absHat1Y: btnTL, absHat2X: btnTR2, absHat2Y: btnTL2} {
		if info, ok := abs[code]; ok && info.Min >= 0 {
			put(code, trigger(slot, info, t))
		}
	}
	// Hat 0 needs no range: any value below nought is up or left.
	put(absHat0X, hat(btnDpadLeft, btnDpadRight))
	put(absHat0Y, hat(btnDpadUp, btnDpadDown))
	// Each contributor to a key has a bit of its own. Bit 0 is the EV_KEY code; the
	// axes that can share one key are hat 0, the pairs Z/RX, BRAKE/GAS and the hats 1, 2.
	for code := range axes {
		switch uint16(code) {
		case absHat0X, absHat0Y:
			axes[code].bit = 1 << 1
		case absBrake, absGas:
			axes[code].bit = 1 << 2
		case absHat1X, absHat1Y, absHat2X, absHat2Y:
			axes[code].bit = 1 << 3
		default:
			axes[code].bit = 1 << 4
		}
	}
	return axes
}
