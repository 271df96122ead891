package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"holdgap/capture"
)

// Limits of what a pad may say.
const (
	MaxDevices = 16 // devices of a pad, the keyboard among them
	Keyboard   = 15 // the keyboard's number

	maxName   = 200  // characters of a device's name
	maxClock  = 1e11 // ms: three years of an open page
	maxPollMS = 1000
)

// Decode reads one message of a pad. The error says in words what is wrong with
// it and quotes it.
func Decode(b []byte) (Message, error) {
	var m Message
	if len(b) > MaxMessage {
		return m, fmt.Errorf("pad message of %d bytes is longer than %d: send each key by itself", len(b), MaxMessage)
	}
	if !utf8.Valid(b) {
		return m, fmt.Errorf("pad message %s is not UTF-8: send JSON text", quote(string(b)))
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return Message{}, fmt.Errorf("pad message %s: %s", quote(string(b)), words(err))
	}
	if _, err := d.Token(); err != io.EOF {
		return Message{}, fmt.Errorf("pad message %s goes on behind its end: send one object a message", quote(string(b)))
	}
	if err := Check(m); err != nil {
		return Message{}, err
	}
	return m, nil
}

// words says what is wrong with a JSON text without Go's type names.
func words(err error) string {
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong) && wrong.Field != "":
		return fmt.Sprintf("field %q cannot be a %s", wrong.Field, wrong.Value)
	case errors.As(err, &wrong):
		return fmt.Sprintf("is a %s, not an object", wrong.Value)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "is cut short: send one JSON object"
	}
	text := strings.TrimPrefix(err.Error(), "json: ")
	if strings.HasPrefix(text, "unknown field") {
		return text
	}
	return "is not JSON: " + text
}

// Check reports the first thing wrong with a message, quoting it: an unknown
// kind or key, a number that is out of range or not a number, a field that does
// not belong to the kind.
func Check(m Message) error {
	var want Message // m with only the fields of its kind
	switch m.T {
	case "attach":
		want = Message{D: m.D, Name: m.Name, Mapping: m.Mapping, PollMS: m.PollMS}
	case "key":
		want = Message{D: m.D, K: m.K, Down: m.Down, C: m.C}
	case "detach":
		want = Message{D: m.D, C: m.C}
	case "release":
		want = Message{C: m.C, Why: m.Why}
	case "pong":
		want = Message{S: m.S, C: m.C}
	default:
		return fmt.Errorf("pad message kind %s is not known: send attach, key, detach, release or pong", quote(m.T))
	}
	want.T = m.T
	for _, n := range []struct {
		field string
		v     float64
		most  float64
	}{{"c", m.C, maxClock}, {"s", m.S, maxClock}, {"poll_ms", m.PollMS, maxPollMS}} {
		if math.IsNaN(n.v) || n.v < 0 || n.v > n.most {
			return fmt.Errorf("pad message %q has %s %v: send milliseconds from 0 to %.0f", m.T, n.field, n.v, n.most)
		}
	}
	switch {
	case m != want:
		return fmt.Errorf("pad message %q carries a field that does not belong to it: leave it out", m.T)
	case m.D < 0 || m.D >= MaxDevices:
		return fmt.Errorf("pad message %q has device %d: number devices from 0 to %d", m.T, m.D, MaxDevices-1)
	}
	switch m.T {
	case "attach":
		return checkAttach(m)
	case "key":
		return checkKey(m.D, m.K)
	case "release":
		if m.Why != "blur" && m.Why != "hide" && m.Why != "leave" {
			return fmt.Errorf("pad message %q has the reason %s: send blur, hide or leave", m.T, quote(m.Why))
		}
	}
	return nil
}

func checkAttach(m Message) error {
	if n := utf8.RuneCountInString(m.Name); n == 0 || n > maxName {
		return fmt.Errorf("device name %s has %d characters: give it 1 to %d", quote(m.Name), n, maxName)
	}
	if i := strings.IndexFunc(m.Name, func(r rune) bool { return !unicode.IsPrint(r) }); i >= 0 {
		return fmt.Errorf("device name %s has a character that cannot be shown: leave it out", quote(m.Name))
	}
	if m.Mapping != "" && m.Mapping != "standard" {
		return fmt.Errorf("device mapping %s is not known: send standard, or leave it out", quote(m.Mapping))
	}
	return nil
}

// padKeys are the names that a browser's gamepad can have.
var padKeys = func() map[string]bool {
	m := map[string]bool{}
	for _, standard := range [2]bool{true, false} {
		for i := range capture.WebButtons {
			m[capture.WebButton(i, standard)] = true
		}
		for i := range capture.WebAxes {
			m[capture.WebAxis(i, false, standard)] = true
			m[capture.WebAxis(i, true, standard)] = true
		}
	}
	return m
}()

func checkKey(d int, key string) error {
	if err := capture.CheckKey(key); err != nil {
		return err
	}
	if kb := d == Keyboard; kb != capture.IsKeyboardKey(key) || !kb && !padKeys[key] {
		if kb {
			return fmt.Errorf("key %q is not a keyboard's: device %d is the keyboard", key, Keyboard)
		}
		return fmt.Errorf("key %q is not a gamepad's: send keyboard keys as device %d", key, Keyboard)
	}
	return nil
}

// quote quotes the beginning of a text that someone else wrote.
func quote(s string) string {
	const most = 60
	if len(s) <= most {
		return fmt.Sprintf("%q", s)
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return fmt.Sprintf("%q…", s[:cut])
}

// Reason shortens an error's text to what fits the reason of a WebSocket close
// frame: 123 bytes of UTF-8 (RFC 6455, 5.5).
func Reason(err error) string {
	const most = 123
	s := err.Error()
	if len(s) <= most {
		return s
	}
	cut := most - len("…")
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}
