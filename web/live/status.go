package live

import (
	"slices"

	"holdgap/capture"
	"holdgap/web/wire"
)

// demoSource is how the performer's devices name their source.
const demoSource = "demo"

// Attach takes a device's description, new or changed.
func (e *Engine) Attach(d capture.Device) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if d.Source != demoSource {
		e.dismissDemo()
	}
	if i := e.device(d.ID); i >= 0 {
		e.devices[i] = d
	} else {
		e.devices = append(e.devices, d)
		e.opts.Log.Info().Str("device", d.Name).Str("source", d.Source).Str("identity", d.Identity).Msg("device found")
	}
	e.out.grain = e.grain()
	e.publishStatus()
	e.signal()
	e.tellDevice(d, true)
}

// dismissDemo clears what the performer showed as soon as a real device is
// there, so that nobody takes it for real input. The lock is held.
func (e *Engine) dismissDemo() {
	n := len(e.devices)
	e.devices = slices.DeleteFunc(e.devices, func(d capture.Device) bool {
		if d.Source == demoSource {
			e.dismissed[d.ID] = true
		}
		return d.Source == demoSource
	})
	if len(e.devices) != n {
		e.reset(nil)
	}
}

// Detach forgets a device; its keys have been let go.
func (e *Engine) Detach(id uint16, _ int64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if i := e.device(id); i >= 0 {
		e.opts.Log.Info().Str("device", e.devices[i].Name).Msg("device gone")
		e.tellDevice(e.devices[i], false)
		e.devices = slices.Delete(e.devices, i, i+1)
	}
	delete(e.lags, id)
	delete(e.dismissed, id)
	e.out.grain = e.grain()
	e.publishStatus()
	e.signal()
}

// Warn takes a trouble, or its end.
func (e *Engine) Warn(key, text string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	i := slices.IndexFunc(e.troubles, func(t wire.Trouble) bool { return t.Key == key })
	switch {
	case text == "" && i < 0:
		return
	case text == "":
		e.troubles = slices.Delete(e.troubles, i, i+1)
	case i < 0:
		e.troubles = append(e.troubles, wire.Trouble{Key: key, Text: text})
		e.opts.Log.Warn().Str("key", key).Msg(text)
	case e.troubles[i].Text == text:
		return
	default:
		e.troubles[i].Text = text
	}
	e.publishStatus()
}

// SetTake says whether a take is being recorded, and SetReplay whether one is
// being played.
func (e *Engine) SetTake(on bool) { e.setFlag(&e.status.take, on) }

// SetReplay says whether a take is being played.
func (e *Engine) SetReplay(on bool) { e.setFlag(&e.status.replay, on) }

func (e *Engine) setFlag(flag *bool, on bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if *flag != on {
		*flag = on
		e.publishStatus()
	}
}

// Devices returns the devices in use.
func (e *Engine) Devices() []capture.Device {
	e.mu.Lock()
	defer e.mu.Unlock()
	return slices.Clone(e.devices)
}

// Status returns what viewers are told of devices and troubles.
func (e *Engine) Status() wire.Status {
	e.mu.Lock()
	defer e.mu.Unlock()
	return *e.wireStatus()
}

func (e *Engine) device(id uint16) int {
	return slices.IndexFunc(e.devices, func(d capture.Device) bool { return d.ID == id })
}

// grain is the widest measured report interval of the devices in use, in ns.
func (e *Engine) grain() int64 {
	var g int64
	for _, d := range e.devices {
		if d.Source != demoSource {
			g = max(g, int64(d.ReportMS*1e6))
		}
	}
	return g
}

func (e *Engine) realDevices() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	n := 0
	for _, d := range e.devices {
		if d.Source != demoSource {
			n++
		}
	}
	return n
}

// signal wakes whoever waits for the set of devices to change.
func (e *Engine) signal() {
	select {
	case e.changed <- struct{}{}:
	default:
	}
}

func (e *Engine) publishStatus() {
	e.publish(wire.Update{Status: e.wireStatus()})
}

func (e *Engine) wireStatus() *wire.Status {
	s := &wire.Status{Paused: e.status.paused, Take: e.status.take, Replay: e.status.replay,
		Devices: []wire.Device{}, Troubles: slices.Clone(e.troubles)}
	if s.Troubles == nil {
		s.Troubles = []wire.Trouble{}
	}
	for _, d := range e.devices {
		s.Demo = s.Demo || d.Source == demoSource
		s.Devices = append(s.Devices, wire.Device{ID: int(d.ID), Name: d.Name, Source: d.Source,
			Identity: d.Identity, ReportMS: d.ReportMS})
	}
	return s
}
