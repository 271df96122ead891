//go:build linux

package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	codes "github.com/holoplot/go-evdev"
	"golang.org/x/sys/unix"

	"holdgap/capture"
	"holdgap/capture/evdev/vmtest/device"
)

// player holds the devices.
type player struct {
	server  *server
	devices map[int]*plugged
	last    int // the device plugged in last
}

// plugged is a device with a reader of its own, which tells the true times.
type plugged struct {
	dev   interface{ Close() error }
	uin   *device.Virtual // or
	hid   *device.HID
	state device.PadReport // of hid
	node  *device.Node
	hatX  int32
	hatY  int32
	seenX int32 // the hat as the reader saw it
	seenY int32
	keys  []uint16 // EV_KEY codes of uin

	serial int // of hid
}

func (p *player) close() {
	for _, d := range p.devices {
		_ = d.dev.Close() // the machine is about to be switched off
		_ = d.node.Close()
	}
}

// do carries out one command.
func (p *player) do(words []string) ([]string, error) {
	if len(words) == 0 {
		return nil, errors.New("an empty command")
	}
	number := p.last
	if n, ok := cutNumber(words[0]); ok {
		number, words = n, words[1:]
	}
	if len(words) == 0 {
		return nil, errors.New("a device and no command")
	}
	verb, args := words[0], words[1:]
	switch {
	case verb == "plug" && len(args) == 1:
		return p.plug(args[0])
	case verb == "start" && len(args) == 0:
		return nil, p.server.start()
	case verb == "stop" && len(args) == 0:
		status, took, err := p.server.stop()
		return []string{strconv.Itoa(status), strconv.FormatInt(took.Milliseconds(), 10)}, err
	}
	d := p.devices[number]
	if d == nil {
		return nil, fmt.Errorf("no device %d is plugged in, for %q", number, words)
	}
	switch {
	case verb == "unplug" && len(args) == 0:
		delete(p.devices, number)
		at := now()
		err := errors.Join(d.dev.Close(), d.node.Close())
		return []string{strconv.FormatInt(at, 10)}, err
	case (verb == "down" || verb == "up") && len(args) >= 1:
		for _, key := range args {
			if err := d.set(key, verb == "down"); err != nil {
				return nil, err
			}
		}
	case verb == "press" && len(args) >= 2:
		if err := d.press(args[0], args[1:]); err != nil {
			return nil, err
		}
	case verb == "axis" && len(args) == 2:
		if err := d.axis(args[0], args[1]); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("the command %q is not known", words)
	}
	return d.edges()
}

func cutNumber(word string) (int, bool) {
	if word[0] != '@' {
		return 0, false
	}
	n, err := strconv.Atoi(word[1:])
	return n, err == nil
}

func (p *player) plug(kind string) ([]string, error) {
	d := &plugged{state: device.RestReport}
	var path string
	specs := map[string]func() device.Spec{"pad": device.PadSpec, "box": device.BoxSpec, "keyboard": device.KeyboardSpec}
	if kind == "hid" {
		// The lowest free serial number, so that a device comes back as itself.
		for d.serial = 1; p.serialInUse(d.serial); {
			d.serial++
		}
		h, err := device.NewHID("Test HID Pad", fmt.Sprintf("serial-%d", d.serial), device.HIDPadID, device.PadDescriptor)
		if err != nil {
			return nil, err
		}
		d.dev, d.hid, path = h, h, h.Node()
	} else if spec, ok := specs[kind]; ok {
		v, err := device.New(spec())
		if err != nil {
			return nil, err
		}
		d.dev, d.uin, d.keys, path = v, v, spec().Keys, v.Node()
	} else {
		return nil, fmt.Errorf("the device %q is not known: pad, box, keyboard or hid", kind)
	}
	node, err := device.Open(path)
	if err != nil {
		_ = d.dev.Close() // the first error tells
		return nil, err
	}
	d.node = node
	if p.devices == nil {
		p.devices = map[int]*plugged{}
	}
	p.last++
	p.devices[p.last] = d
	return []string{strconv.Itoa(p.last), path}, nil
}

func (p *player) serialInUse(serial int) bool {
	for _, d := range p.devices {
		if d.serial == serial {
			return true
		}
	}
	return false
}

// set puts one key down or up: a button of the device, or a direction of its hat.
func (d *plugged) set(key string, down bool) error {
	code, ok := capture.KeyCode(key)
	if !ok {
		return fmt.Errorf("no key is called %q", key)
	}
	if d.uin != nil && slices.Contains(d.keys, code) {
		return d.uin.Key(code, down)
	}
	var on int32
	if down {
		on = 1
	}
	switch key {
	case capture.KeyUp:
		d.hatY = -on
	case capture.KeyDown:
		d.hatY = on
	case capture.KeyLeft:
		d.hatX = -on
	case capture.KeyRight:
		d.hatX = on
	default:
		if n := int(code) - codes.BTN_GAMEPAD; d.hid != nil && n >= 0 && n < 8 {
			d.state.Buttons &^= 1 << n
			d.state.Buttons |= uint8(on) << n
			return d.hid.Report(d.state.Bytes())
		}
		return fmt.Errorf("the device has no key %q", key)
	}
	if d.hid != nil {
		d.state.Hat = hat[d.hatY+1][d.hatX+1]
		return d.hid.Report(d.state.Bytes())
	}
	return d.uin.Emit(device.Abs(codes.ABS_HAT0X, d.hatX), device.Abs(codes.ABS_HAT0Y, d.hatY))
}

var hat = [3][3]uint8{
	{device.HatUpLeft, device.HatUp, device.HatUpRight},
	{device.HatLeft, device.HatCentre, device.HatRight},
	{device.HatDownLeft, device.HatDown, device.HatDownRight},
}

// press presses a key: hold, gap, hold, … in ms, an odd number of them.
func (d *plugged) press(key string, lengths []string) error {
	if len(lengths)%2 == 0 {
		return fmt.Errorf("press wants HOLD or HOLD GAP HOLD …, not %q", lengths)
	}
	for i, text := range lengths {
		length, err := strconv.ParseFloat(text, 64)
		if err != nil || length < 0 || length > 60_000 {
			return fmt.Errorf("%q is no length in ms", text)
		}
		if err := d.set(key, i%2 == 0); err != nil {
			return err
		}
		// From after the edge to before the next: never shorter than asked for.
		until(time.Now().Add(time.Duration(length * float64(time.Millisecond))))
	}
	return d.set(key, false)
}

// until waits for a time, the last stretch without sleeping: a sleep in an
// emulated machine is off by milliseconds.
func until(at time.Time) {
	if left := time.Until(at) - 5*time.Millisecond; left > 0 {
		time.Sleep(left)
	}
	for time.Now().Before(at) {
	}
}

func (d *plugged) axis(name, text string) error {
	axes := map[string]uint16{
		"x": codes.ABS_X, "y": codes.ABS_Y, "z": codes.ABS_Z,
		"rx": codes.ABS_RX, "ry": codes.ABS_RY, "rz": codes.ABS_RZ,
	}
	code, ok := axes[name]
	value, err := strconv.ParseInt(text, 10, 32)
	if !ok || err != nil {
		return fmt.Errorf("axis wants x, y, z, rx, ry or rz and a number, not %q %q", name, text)
	}
	if d.uin == nil {
		return errors.New("only devices made through uinput have axes to set")
	}
	return d.uin.Abs(code, int32(value))
}

// edges says what the device's second reader saw since the last command:
// south+123 is south going down at 123 ns on the monotonic clock, south-456 up.
func (d *plugged) edges() (out []string, err error) {
	events, err := d.node.Pending()
	edge := func(name string, down bool, at int64) {
		sign := "-"
		if down {
			sign = "+"
		}
		out = append(out, name+sign+strconv.FormatInt(at, 10))
	}
	axis := func(seen *int32, value int32, minus, plus string, at int64) {
		if *seen != 0 {
			edge(map[bool]string{true: minus, false: plus}[*seen < 0], false, at)
		}
		if value != 0 {
			edge(map[bool]string{true: minus, false: plus}[value < 0], true, at)
		}
		*seen = value
	}
	for _, e := range events {
		switch {
		case e.Type == codes.EV_KEY && e.Value != 2: // 2 is the kernel's repetition
			edge(capture.KeyName(e.Code), e.Value == 1, e.At)
		case e.Type == codes.EV_ABS && e.Code == codes.ABS_HAT0X:
			axis(&d.seenX, e.Value, capture.KeyLeft, capture.KeyRight, e.At)
		case e.Type == codes.EV_ABS && e.Code == codes.ABS_HAT0Y:
			axis(&d.seenY, e.Value, capture.KeyUp, capture.KeyDown, e.At)
		}
	}
	return out, err
}

// now is the monotonic clock in ns, on which the kernel stamps events.
func now() int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		panic(err) // no such clock: not Linux
	}
	return ts.Nano()
}
