package desk_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/rs/zerolog"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"holdgap/capture"
	"holdgap/web"
	"holdgap/web/desk"
	"holdgap/web/live"
	"holdgap/web/settings"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rig is a desk on an engine, with settings that nothing keeps.
type rig struct {
	t      *testing.T
	engine *live.Engine
	store  *settings.Store
	desk   *desk.Desk
	server *httptest.Server
	learn  chan bool
	now    int64
}

type takes struct{ asked []string }

func (k *takes) Start() error      { k.asked = append(k.asked, "start"); return nil }
func (k *takes) Stop() error       { return fmt.Errorf("stopping the take: the disk is full: make room") }
func (k *takes) SaveRecent() error { k.asked = append(k.asked, "recent"); return nil }
func (k *takes) Mark(note string) error {
	k.asked = append(k.asked, "mark "+note)
	return nil
}

func start(t *testing.T, k desk.Takes) *rig {
	r := &rig{t: t, learn: make(chan bool, 16)}
	r.engine = live.New(live.Options{Setup: live.DefaultSetup(), Now: func() int64 { return 1e9 }, Log: zerolog.Nop()})
	r.store = settings.Open(settings.Options{})
	end := r.store.Subscribe(func(s settings.Snapshot) {
		setup, err := s.Settings.Current().Setup()
		require.NoError(t, err)
		require.NoError(t, r.engine.Change(setup))
	})
	r.desk = desk.New(desk.Options{Engine: r.engine, Store: r.store, Takes: k, Addr: "127.0.0.1:7411", Pads: true,
		Learn: func(on bool) { r.learn <- on }, Log: zerolog.Nop()})
	s := web.New(web.Options{Engine: r.engine, Routes: r.desk.Routes(), Now: func() int64 { return 1e9 }, Log: zerolog.Nop()})
	r.server = httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		r.desk.Close()
		s.Close()
		r.server.Close()
		end()
		http.DefaultClient.CloseIdleConnections()
	})
	return r
}

func (r *rig) post(path, body string) (int, string) {
	r.t.Helper()
	resp, err := http.Post(r.server.URL+path, "application/json", strings.NewReader(body))
	require.NoError(r.t, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	require.NoError(r.t, err)
	return resp.StatusCode, string(b)
}

// do carries out a command that has to succeed.
func (r *rig) do(body string) {
	r.t.Helper()
	code, answer := r.post("/desk/do", body)
	require.Equal(r.t, http.StatusOK, code, answer)
}

// refused carries out a command that has to fail, and returns why.
func (r *rig) refused(body string) string {
	r.t.Helper()
	_, before := r.settings()
	code, answer := r.post("/desk/do", body)
	require.GreaterOrEqual(r.t, code, 400, answer)
	require.Less(r.t, code, 500, answer)
	_, after := r.settings()
	require.Equal(r.t, before, after, "nothing changed")
	var a desk.Answer
	require.NoError(r.t, json.Unmarshal([]byte(answer), &a))
	return a.Error
}

func (r *rig) settings() (settings.Settings, uint64) {
	s := r.store.Get()
	return s.Settings, s.Rev
}

func (r *rig) profile() *settings.Profile {
	s, _ := r.settings()
	return s.Current()
}

// socket follows the desk's state.
func (r *rig) socket() *websocket.Conn {
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(r.server.URL, "http")+"/wire/desk", nil)
	require.NoError(r.t, err)
	r.t.Cleanup(func() { c.Close() })
	return c
}

func (r *rig) until(c *websocket.Conn, ok func(desk.State) bool) desk.State {
	r.t.Helper()
	require.NoError(r.t, c.SetReadDeadline(time.Now().Add(10*time.Second)))
	for {
		var s desk.State
		require.NoError(r.t, c.ReadJSON(&s), "the state never came to what was waited for")
		if ok(s) {
			return s
		}
	}
}

func (r *rig) plug(id uint16, name string) {
	r.engine.Attach(capture.Device{ID: id, Name: name, Source: "evdev", Identity: "0003:1234:5678"})
}

func (r *rig) press(id uint16, keys ...string) {
	for _, k := range keys {
		for _, down := range []bool{true, false} {
			r.now++
			r.engine.Input(capture.Input{At: r.now, Device: id, Key: k, Down: down})
		}
	}
}

func TestChangesReachEngineAndDesks(t *testing.T) {
	r := start(t, nil)
	c := r.socket()
	first := r.until(c, func(desk.State) bool { return true })
	require.Equal(t, "everything", first.Settings.Profile)
	require.False(t, first.Takes)
	require.Nil(t, first.LAN)
	require.False(t, first.Undo)

	r.do(`{"do":"profile","desk":"a","based":1,"profile":"everything","patch":{"rate":"60000/1001","read":"latched","phase_ms":3.5,"window":4}}`)
	require.Equal(t, "60000/1001", r.engine.Setup().Rate.String(), "in force when the answer comes")
	require.EqualValues(t, 3_500_000, *r.engine.Setup().Phase)
	s := r.until(c, func(s desk.State) bool { return s.Revision == 2 })
	require.Equal(t, desk.Changed{Desk: "a", By: "desk a", What: "Phase, Game’s rate, Read rule, Window", Revision: 2}, s.Changed)
	require.InDelta(t, 1001.0/60, s.FrameMS, 1e-9)

	r.do(`{"do":"profile","desk":"a","profile":"everything","patch":{"phase_ms":null}}`)
	require.Nil(t, r.engine.Setup().Phase, "null is unknown again")
	r.do(`{"do":"undo","desk":"a"}`)
	require.EqualValues(t, 3_500_000, *r.engine.Setup().Phase)
	r.do(`{"do":"redo","desk":"b"}`)
	require.Nil(t, r.engine.Setup().Phase)
	require.Contains(t, r.refused(`{"do":"redo","desk":"b"}`), "nothing to")

	r.do(`{"do":"set","desk":"a","patch":{"strip":{"theme":"linen","options":{"delay":"120","scale":"2"}}}}`)
	r.do(`{"do":"set","desk":"a","patch":{"strip":{"options":{"scale":null}}}}`)
	set, _ := r.settings()
	require.Equal(t, settings.Strip{Theme: "linen", Options: map[string]string{"delay": "120"}}, set.Strip)

	r.do(`{"do":"pause","desk":"a","on":true}`)
	r.until(c, func(s desk.State) bool { return s.Paused })
	r.engine.Warn("access", "the pad cannot be read: plug it in anew")
	s = r.until(c, func(s desk.State) bool { return len(s.Troubles) == 1 })
	require.Equal(t, "the pad cannot be read: plug it in anew", s.Troubles[0].Text)
}

// The later of two changes wins, touching only what it names, and both desks hear
// who made it.
func TestTwoDesks(t *testing.T) {
	r := start(t, nil)
	a, b := r.socket(), r.socket()
	r.until(a, func(desk.State) bool { return true })
	r.until(b, func(desk.State) bool { return true })
	r.do(`{"do":"profile","desk":"a","based":1,"profile":"everything","patch":{"read":"latched","window":5}}`)
	_, answer := r.post("/desk/do", `{"do":"profile","desk":"b","based":1,"profile":"everything","patch":{"window":2}}`)
	require.JSONEq(t, `{"revision":3,"over":true}`, answer)
	require.EqualValues(t, 2, r.profile().Window)
	require.Equal(t, "latched", r.profile().Read.String(), "what the later one does not name stays")
	s := r.until(a, func(s desk.State) bool { return s.Revision == 3 })
	require.Equal(t, "b", s.Changed.Desk)
	require.Equal(t, "Window", s.Changed.What)
	require.Equal(t, 2, s.Desks)
	_, err := r.store.Change(func(s *settings.Settings) error { s.FollowDevice = false; return nil })
	require.NoError(t, err)
	s = r.until(b, func(s desk.State) bool { return s.Revision == 4 })
	require.Empty(t, s.Changed.Desk, "not by a desk")
}

func TestBadCommands(t *testing.T) {
	r := start(t, nil)
	for body, want := range map[string]string{
		``:                                      "",
		`nonsense`:                              `"nonsense"`,
		`[]`:                                    "",
		`{"do":"set"} {}`:                       "goes on behind its end",
		`{"do":"dance"}`:                        `there is no profile "" (any more): there are "everything"`,
		`{"do":"dance","profile":"everything"}`: `command "dance" is not known`,
		`{"do":"set","extra":1}`:                `unknown field "extra"`,
		`{"do":7}`:                              "do cannot be a number",
		`{"do":"set","desk":"` + strings.Repeat("x", 41) + `"}`:                                                        "longer than 40",
		`{"do":"set","patch":[]}`:                                                                                      "is not an object",
		`{"do":"set","patch":{"profiles":[]}}`:                                                                         "profiles have commands of their own",
		`{"do":"set","patch":{"colour":"red"}}`:                                                                        `unknown field "colour"`,
		`{"do":"set","patch":{"takes":{"ring_minutes":-1}}}`:                                                           "ring_minutes -1",
		`{"do":"set","patch":{"strip":{"theme":"../x"}}}`:                                                              `"../x"`,
		`{"do":"profile","profile":"everything","patch":{"rate":"fast"}}`:                                              `frame rate "fast"`,
		`{"do":"profile","profile":"everything","patch":{"read":"guess"}}`:                                             `read rule "guess"`,
		`{"do":"profile","profile":"everything","patch":{"phase_ms":99}}`:                                              "phase_ms 99",
		`{"do":"profile","profile":"everything","patch":{"window":700}}`:                                               "700",
		`{"do":"profile","profile":"everything","patch":{"target":"none"}}`:                                            `aims at target "none"`,
		`{"do":"profile","profile":"everything","patch":{"name":" "}}`:                                                 "give it one",
		`{"do":"profile","profile":"everything","patch":{"buttons":[{"label":"a","role":"action","keys":["sauth"]}]}}`: `did you mean "south"`,
		`{"do":"profile","profile":"gone","patch":{}}`:                                                                 `there is no profile "gone"`,
		`{"do":"choose","profile":"gone"}`:                                                                             `"gone"`,
		`{"do":"copy","profile":"everything","to":"everything"}`:                                                       "already",
		`{"do":"copy","profile":"everything","to":""}`:                                                                 "give it one",
		`{"do":"remove","profile":"everything"}`:                                                                       "is the only one",
		`{"do":"label","profile":"everything","button":"nope","to":"x"}`:                                               `no button "nope"`,
		`{"do":"label","profile":"everything","button":"south","to":"east"}`:                                           "used twice",
		`{"do":"unbutton","profile":"everything","button":"nope"}`:                                                     `no button "nope"`,
		`{"do":"bind","profile":"everything","button":"nope"}`:                                                         `"nope"`,
		`{"do":"bindkey","code":"Nope"}`:                                                                               `"Nope"`,
		`{"do":"move"}`:                                                                                                "no key to move",
		`{"do":"take","on":true}`:                                                                                      "without takes",
		`{"do":"renew","role":"view"}`:                                                                                 "only this machine",
	} {
		got := r.refused(body)
		require.Contains(t, got, want, body)
		require.Less(t, len(got), 700, "a long input is not quoted whole")
	}
	code, _ := r.post("/desk/do", `{"do":"set","patch":{"takes":{"folder":"`+strings.Repeat("x", desk.MaxBody)+`"}}}`)
	require.Equal(t, http.StatusBadRequest, code)
	resp, err := http.Post(r.server.URL+"/desk/do", "text/plain", strings.NewReader(`{"do":"pause","on":true}`))
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, http.StatusUnsupportedMediaType, resp.StatusCode, "what a form of another page could send")
	require.False(t, r.engine.Status().Paused)
}

func TestRateIsBounded(t *testing.T) {
	r := start(t, nil)
	refused := 0
	for range desk.MaxBurst + 100 {
		if code, _ := r.post("/desk/do", `{"do":"leave"}`); code == http.StatusTooManyRequests {
			refused++
		}
	}
	require.Positive(t, refused)
}

func TestProfilesAndButtons(t *testing.T) {
	r := start(t, nil)
	r.do(`{"do":"copy","profile":"everything","to":"stick"}`)
	require.Equal(t, "stick", r.profile().Name)
	r.do(`{"do":"own","profile":"stick"}`)
	n := len(r.profile().Buttons)
	require.Len(t, capture.DefaultLayout().Buttons, n)
	r.do(`{"do":"profile","profile":"stick","patch":{"targets":[{"name":"a","frames":3,"button":"south","starter":"east","opening":9}],"target":"a"}}`)
	r.do(`{"do":"label","profile":"stick","button":"south","to":"light"}`)
	require.Equal(t, "light", r.profile().Targets[0].Button, "a target speaks of it by the new name")
	require.Contains(t, r.refused(`{"do":"unbutton","profile":"stick","button":"light"}`), `target "a" speaks of button "light"`)
	r.do(`{"do":"unbutton","profile":"stick","button":"west"}`)
	require.Len(t, r.profile().Buttons, n-1)
	r.do(`{"do":"set","patch":{"chords":[{"buttons":["light","east"],"does":"pause"}]}}`)
	r.do(`{"do":"label","profile":"stick","button":"light","to":"low"}`)
	set, _ := r.settings()
	require.Equal(t, []string{"low", "east"}, set.Chords[0].Buttons, "and so does a chord")
	r.do(`{"do":"profile","profile":"stick","patch":{"name":"box"}}`)
	require.Equal(t, "box", r.profile().Name)
	r.do(`{"do":"choose","profile":"everything"}`)
	require.Empty(t, r.profile().Buttons, "the other profile is as it was")
	r.do(`{"do":"remove","profile":"everything"}`)
	require.Equal(t, "box", r.profile().Name)
}

func TestTakes(t *testing.T) {
	k := &takes{}
	r := start(t, k)
	r.do(`{"do":"take","on":true}`)
	r.do(`{"do":"mark","note":"nice"}`)
	r.do(`{"do":"recent"}`)
	require.Equal(t, []string{"start", "mark nice", "recent"}, k.asked)
	require.Contains(t, r.refused(`{"do":"take"}`), "the disk is full: make room")
	require.Contains(t, r.refused(`{"do":"mark","note":"`+strings.Repeat("n", 201)+`"}`), "longer than 200")
}

// Common practice, no source: +10 on hit and startup 8 leave three frames; +4 and
// startup 6 are a frame or more short.
func TestCover(t *testing.T) {
	r := start(t, nil)
	get := func(body string) desk.Cover {
		code, b := r.post("/desk/cover", body)
		require.Equal(t, http.StatusOK, code, b)
		var c desk.Cover
		var raw struct{ Runs, Holes [][2]int64 }
		require.NoError(t, json.Unmarshal([]byte(b), &raw))
		m := map[string]any{}
		require.NoError(t, json.Unmarshal([]byte(b), &m))
		delete(m, "runs")
		delete(m, "holes")
		rest, err := json.Marshal(m)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(rest, &c))
		for _, x := range raw.Runs {
			c.Starts -= x[1] - x[0] + 1
		}
		require.Zero(t, c.Starts, "the runs hold as many starts as there are said to be")
		return c
	}
	c := get(`{"name":"a","link":{"advantage":10,"startup":8},"presses":2}`)
	require.EqualValues(t, 3, c.Window)
	require.EqualValues(t, 3, c.Spacing)
	require.True(t, c.Suggested)
	require.Empty(t, c.Error)
	c = get(`{"name":"a","link":{"advantage":4,"startup":6},"presses":2}`)
	require.EqualValues(t, 2, c.Short+0*c.Window)
	require.Contains(t, c.Advice, "No link")
	for field, body := range map[string]string{
		"startup": `{"link":{"advantage":4,"startup":0}}`,
		"buffer":  `{"link":{"advantage":4,"startup":1,"buffer":-1}}`,
		"early":   `{"frames":3,"early":"spoil:0"}`,
		"hold":    `{"frames":3,"hold":-2}`,
		"offsets": `{"frames":3,"presses":2,"spacing":1}`,
		"presses": `{"frames":3,"presses":99}`,
		"opening": `{"frames":3,"starter":"a","opening":-4}`,
		"frames":  `{"frames":900}`,
	} {
		c := get(body)
		require.Equal(t, field, c.Field, body)
		require.NotEmpty(t, c.Error)
	}
	code, b := r.post("/desk/cover", `{"framse":3}`)
	require.Equal(t, http.StatusBadRequest, code)
	require.Contains(t, b, "framse")
	_, rev := r.settings()
	require.EqualValues(t, 1, rev, "nothing was changed by all that")
}

func TestQR(t *testing.T) {
	r := start(t, nil)
	resp, err := http.Get(r.server.URL + "/desk/qr.svg?text=http%3A%2F%2F192.0.2.7%3A7411%2Fpad")
	require.NoError(t, err)
	b, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	require.NoError(t, err)
	require.Equal(t, "image/svg+xml", resp.Header.Get("Content-Type"))
	require.True(t, bytes.HasPrefix(b, []byte("<svg")))
	for _, text := range []string{"", strings.Repeat("x", 601)} {
		resp, err := http.Get(r.server.URL + "/desk/qr.svg?text=" + text)
		require.NoError(t, err)
		resp.Body.Close()
		require.Equal(t, http.StatusBadRequest, resp.StatusCode)
	}
}

func TestPageMayNotBeFramed(t *testing.T) {
	r := start(t, nil)
	resp, err := http.Get(r.server.URL + "/desk")
	require.NoError(t, err)
	resp.Body.Close()
	require.Contains(t, resp.Header.Get("Content-Security-Policy"), "frame-ancestors 'none'")
}
