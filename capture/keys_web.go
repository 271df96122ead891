package capture

// webKeys gives the kernel's name for each KeyboardEvent.code that a kernel key
// stands for. The codes and sections are those of UI Events KeyboardEvent code
// Values (https://www.w3.org/TR/uievents-code/).
var webKeys = map[string]string{
	// 3.1.1 Writing system keys
	"KeyA": "key_a", "KeyB": "key_b", "KeyC": "key_c",
	"KeyD": "key_d", "KeyE": "key_e", "KeyF": "key_f",
	"KeyG": "key_g", "KeyH": "key_h", "KeyI": "key_i",
	"KeyJ": "key_j", "KeyK": "key_k", "KeyL": "key_l",
	"KeyM": "key_m", "KeyN": "key_n", "KeyO": "key_o",
	"KeyP": "key_p", "KeyQ": "key_q", "KeyR": "key_r",
	"KeyS": "key_s", "KeyT": "key_t", "KeyU": "key_u",
	"KeyV": "key_v", "KeyW": "key_w", "KeyX": "key_x",
	"KeyY": "key_y", "KeyZ": "key_z", "Digit0": "key_0",
	"Digit1": "key_1", "Digit2": "key_2", "Digit3": "key_3",
	"Digit4": "key_4", "Digit5": "key_5", "Digit6": "key_6",
	"Digit7": "key_7", "Digit8": "key_8", "Digit9": "key_9",
	"Backquote": "key_grave", "Backslash": "key_backslash", "BracketLeft": "key_leftbrace",
	"BracketRight": "key_rightbrace", "Comma": "key_comma", "Equal": "key_equal",
	"IntlBackslash": "key_102nd", "IntlRo": "key_ro", "IntlYen": "key_yen",
	"Minus": "key_minus", "Period": "key_dot", "Quote": "key_apostrophe",
	"Semicolon": "key_semicolon", "Slash": "key_slash",
	// 3.1.2 Functional keys
	"AltLeft": "key_leftalt", "AltRight": "key_rightalt", "Backspace": "key_backspace",
	"CapsLock": "key_capslock", "ContextMenu": "key_compose", "ControlLeft": "key_leftctrl",
	"ControlRight": "key_rightctrl", "Enter": "key_enter", "MetaLeft": "key_leftmeta",
	"MetaRight": "key_rightmeta", "ShiftLeft": "key_leftshift", "ShiftRight": "key_rightshift",
	"Space": "key_space", "Tab": "key_tab", "Convert": "key_henkan",
	"KanaMode": "key_katakanahiragana", "Lang1": "key_hangeul", "Lang2": "key_hanja",
	"Lang3": "key_katakana", "Lang4": "key_hiragana", "Lang5": "key_zenkakuhankaku",
	"NonConvert": "key_muhenkan",
	// 3.2 Control pad
	"Delete": "key_delete", "End": "key_end", "Help": "key_help",
	"Home": "key_home", "Insert": "key_insert", "PageDown": "key_pagedown",
	"PageUp": "key_pageup",
	// 3.3 Arrow pad
	"ArrowDown": "key_down", "ArrowLeft": "key_left", "ArrowRight": "key_right",
	"ArrowUp": "key_up",
	// 3.4 Numpad
	"NumLock": "key_numlock", "Numpad0": "key_kp0", "Numpad1": "key_kp1",
	"Numpad2": "key_kp2", "Numpad3": "key_kp3", "Numpad4": "key_kp4",
	"Numpad5": "key_kp5", "Numpad6": "key_kp6", "Numpad7": "key_kp7",
	"Numpad8": "key_kp8", "Numpad9": "key_kp9", "NumpadAdd": "key_kpplus",
	"NumpadComma": "key_kpcomma", "NumpadDecimal": "key_kpdot", "NumpadDivide": "key_kpslash",
	"NumpadEnter": "key_kpenter", "NumpadEqual": "key_kpequal", "NumpadMultiply": "key_kpasterisk",
	"NumpadParenLeft": "key_kpleftparen", "NumpadParenRight": "key_kprightparen", "NumpadSubtract": "key_kpminus",
	// 3.5 Function section
	"Escape": "key_esc", "F1": "key_f1", "F2": "key_f2",
	"F3": "key_f3", "F4": "key_f4", "F5": "key_f5",
	"F6": "key_f6", "F7": "key_f7", "F8": "key_f8",
	"F9": "key_f9", "F10": "key_f10", "F11": "key_f11",
	"F12": "key_f12", "F13": "key_f13", "F14": "key_f14",
	"F15": "key_f15", "F16": "key_f16", "F17": "key_f17",
	"F18": "key_f18", "F19": "key_f19", "F20": "key_f20",
	"F21": "key_f21", "F22": "key_f22", "F23": "key_f23",
	"F24": "key_f24", "PrintScreen": "key_sysrq", "ScrollLock": "key_scrolllock",
	"Pause": "key_pause",
	// 3.6 Media keys
	"BrowserBack": "key_back", "BrowserFavorites": "key_bookmarks", "BrowserForward": "key_forward",
	"BrowserHome": "key_homepage", "BrowserRefresh": "key_refresh", "BrowserSearch": "key_search",
	"BrowserStop": "key_stop", "Eject": "key_ejectcd", "LaunchApp1": "key_file",
	"LaunchApp2": "key_calc", "LaunchMail": "key_mail", "MediaPlayPause": "key_playpause",
	"MediaSelect": "key_config", "MediaStop": "key_stopcd", "MediaTrackNext": "key_nextsong",
	"MediaTrackPrevious": "key_previoussong", "Power": "key_power", "Sleep": "key_sleep",
	"AudioVolumeDown": "key_volumedown", "AudioVolumeMute": "key_mute", "AudioVolumeUp": "key_volumeup",
	"WakeUp": "key_wakeup",
	// 3.7 Legacy and special keys
	"Again": "key_again", "Copy": "key_copy", "Cut": "key_cut",
	"Find": "key_find", "Open": "key_open", "Paste": "key_paste",
	"Select": "key_front", "Undo": "key_undo",
	// Not of the standard any more, but still sent by some browsers
	"OSLeft": "key_leftmeta", "OSRight": "key_rightmeta", "VolumeDown": "key_volumedown",
	"VolumeMute": "key_mute", "VolumeUp": "key_volumeup",
}
