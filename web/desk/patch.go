package desk

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"holdgap/web/settings"
)

// mergePatch applies a JSON merge patch (RFC 7386, section 2) to a decoded value.
func mergePatch(target, patch any) any {
	p, ok := patch.(map[string]any)
	if !ok {
		return patch
	}
	t, ok := target.(map[string]any)
	if !ok {
		t = map[string]any{}
	}
	for k, v := range p {
		if v == nil {
			delete(t, k)
		} else {
			t[k] = mergePatch(t[k], v)
		}
	}
	return t
}

// merge writes from, changed by a patch, into to; unknown keys are refused.
func merge(from any, patch json.RawMessage, to any) error {
	b, err := json.Marshal(from)
	if err != nil {
		return err
	}
	var doc, change any
	if err := json.Unmarshal(b, &doc); err != nil {
		return err
	}
	if len(patch) > 0 {
		if err := json.Unmarshal(patch, &change); err != nil {
			return fmt.Errorf("patch %q: %w", clip(string(patch)), err)
		}
		if _, ok := change.(map[string]any); !ok {
			return fmt.Errorf("patch %q is not an object", clip(string(patch)))
		}
		doc = mergePatch(doc, change)
	}
	if b, err = json.Marshal(doc); err != nil {
		return err
	}
	return strict(b, to)
}

// keys lists what a patch names, for telling the other desks.
func keys(patch json.RawMessage) []string {
	var m map[string]json.RawMessage
	if json.Unmarshal(patch, &m) != nil {
		return nil
	}
	return slices.Sorted(maps.Keys(m))
}

// named gives the words that a desk has for a key of the settings.
var named = map[string]string{
	"strip": "Look", "takes": "Takes", "chords": "Chords", "follow_device": "Following the controller",
	"name": "Profile’s name", "devices": "Controllers of the profile", "rate": "Game’s rate", "read": "Read rule",
	"phase_ms": "Phase", "opposites": "Opposite directions", "multi_press_spacing": "Multi-press spacing",
	"bounce_ms": "Bounce", "buttons": "Buttons", "targets": "Targets", "target": "Target in force", "window": "Window",
}

func what(patch json.RawMessage) string {
	var out []string
	for _, k := range keys(patch) {
		if w, ok := named[k]; ok {
			k = w
		}
		out = append(out, k)
	}
	return strings.Join(out, ", ")
}

func patchSettings(s *settings.Settings, patch json.RawMessage) (string, error) {
	for _, k := range keys(patch) {
		if k == "version" || k == "profile" || k == "profiles" {
			return "", fmt.Errorf("patch of the settings names %q: profiles have commands of their own", k)
		}
	}
	var out settings.Settings
	if err := merge(s, patch, &out); err != nil {
		return "", err
	}
	*s = out
	return what(patch), nil
}

func patchProfile(s *settings.Settings, p *settings.Profile, patch json.RawMessage) (string, error) {
	var out settings.Profile
	if err := merge(p, patch, &out); err != nil {
		return "", err
	}
	if s.Profile == p.Name {
		s.Profile = out.Name
	}
	*p = out
	return what(patch), nil
}
