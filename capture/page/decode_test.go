package page

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var goodMessages = []string{
	`{"t":"attach","d":0,"name":"Pad","mapping":"standard","poll_ms":4}`,
	`{"t":"attach","d":15,"name":"Keyboard","mapping":"","poll_ms":0}`,
	`{"t":"key","d":0,"k":"south","down":true,"c":1234.5}`,
	`{"t":"key","d":1,"k":"button12","down":false,"c":1}`,
	`{"t":"key","d":1,"k":"axis9_plus","down":true,"c":1}`,
	`{"t":"key","d":0,"k":"stick_left","c":1}`,
	`{"t":"key","d":15,"k":"key_j","down":true,"c":9}`,
	`{"t":"detach","d":0,"c":1300}`,
	`{"t":"release","c":1300,"why":"blur"}`,
	`{"t":"pong","s":17.25,"c":1300}`,
}

func TestDecodeReadsWhatIsDocumented(t *testing.T) {
	for _, s := range goodMessages {
		m, err := Decode([]byte(s))
		require.NoError(t, err, s)
		b, err := json.Marshal(m)
		require.NoError(t, err)
		again, err := Decode(b)
		require.NoError(t, err, "what Go writes is read too: %s", b)
		require.Equal(t, m, again)
	}
	m, _ := Decode([]byte(goodMessages[2]))
	assert.Equal(t, Message{T: "key", K: "south", Down: true, C: 1234.5}, m)
}

func TestDecodeSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{``, "cut short"},
		{`{"t":"key"`, "cut short"},
		{`nonsense`, `pad message "nonsense": is not JSON`},
		{`[]`, "is a array, not an object"},
		{`{"t":"key","d":0,"k":"south","down":true,"c":1} {}`, "goes on behind its end"},
		{`{"t":"key","d":0,"k":"south","down":true,"c":1,"x":1}`, `unknown field "x"`},
		{`{"t":"key","d":"0","k":"south","down":true,"c":1}`, `field "d" cannot be a string`},
		{`{"t":"key","d":0.5,"k":"south","down":true,"c":1}`, `field "d" cannot be a number 0.5`},
		{`{"t":"key","d":0,"k":"south","down":1,"c":1}`, `field "down" cannot be a number`},
		{`{"t":"key","d":0,"k":"south","down":true,"c":NaN}`, "is not JSON"},
		{`{"t":"key","d":0,"k":"south","down":true,"c":1e400}`, `field "c" cannot be a number 1e400`},
		{`{"t":"key","d":0,"k":"south","down":true,"c":-1}`, `"key" has c -1`},
		{`{"t":"key","d":0,"k":"south","down":true,"c":1e12}`, `has c 1e+12`},
		{`{"t":"pong","s":-4,"c":1}`, `has s -4`},
		{`{"t":"attach","d":0,"name":"P","poll_ms":5000}`, `has poll_ms 5000`},
		{`{"t":"key","d":16,"k":"south","down":true,"c":1}`, "has device 16"},
		{`{"t":"key","d":-1,"k":"south","down":true,"c":1}`, "has device -1"},
		{`{"t":"key","d":0,"k":"soth","down":true,"c":1}`, `unknown key "soth": did you mean "south"?`},
		{`{"t":"key","d":0,"k":"","down":true,"c":1}`, `unknown key ""`},
		{`{"t":"key","d":0,"k":"key_j","down":true,"c":1}`, `"key_j" is not a gamepad's`},
		{`{"t":"key","d":15,"k":"south","down":true,"c":1}`, `"south" is not a keyboard's`},
		{`{"t":"key","d":0,"k":"mouse_left","down":true,"c":1}`, `"mouse_left"`},
		{`{"t":"attach","d":0,"name":""}`, `device name "" has 0 characters`},
		{`{"t":"attach","d":0,"name":"` + strings.Repeat("é", 201) + `"}`, "has 201 characters"},
		{`{"t":"attach","d":0,"name":"a\u0007b"}`, "cannot be shown"},
		{`{"t":"attach","d":0,"name":"P","mapping":"own"}`, `mapping "own" is not known`},
		{`{"t":"attach","d":0,"name":"P","k":"south"}`, `"attach" carries a field that does not belong`},
		{`{"t":"release","c":1,"why":"bored"}`, `the reason "bored"`},
		{`{"t":"jump"}`, `kind "jump" is not known`},
		{`null`, `kind "" is not known`},
		{`{"t":"key","k":"` + strings.Repeat("s", MaxMessage) + `"}`, "is longer than 4096"},
		{"{\"t\":\"\xff\"}", "is not UTF-8"},
	} {
		m, err := Decode([]byte(c.text))
		require.ErrorContains(t, err, c.want, c.text)
		require.Zero(t, m)
		require.Less(t, len(err.Error()), 400, "a long input is not quoted whole")
	}
}

func TestCheckRefusesWhatJSONCannotSay(t *testing.T) {
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Error(t, Check(Message{T: "pong", S: 1, C: c}))
	}
}

// A close frame's reason has at most 123 bytes and is UTF-8 (RFC 6455, 5.5.1 and 5.5).
func TestReasonFitsACloseFrame(t *testing.T) {
	assert.Equal(t, "short", Reason(errors.New("short")))
	for n := range 10 {
		s := Reason(errors.New(strings.Repeat("x", 115+n) + strings.Repeat("—", 20)))
		assert.LessOrEqual(t, len(s), 123)
		assert.True(t, utf8.ValidString(s))
		assert.True(t, strings.HasSuffix(s, "…"))
	}
}

// Whatever comes, Decode returns a message that Check accepts and that survives
// being written and read, or an error in printable words; and a pad that is fed
// with it does not crash and lets go of everything in the end.
func FuzzDecode(f *testing.F) {
	for _, s := range goodMessages {
		f.Add([]byte(s))
	}
	f.Add([]byte(`{"t":"key","t":"pong","c":1e-320}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, err := Decode(b)
		if err != nil {
			if m != (Message{}) || !utf8.ValidString(err.Error()) || len(err.Error()) > 1000 {
				t.Fatalf("%q: %+v, %v", b, m, err)
			}
			return
		}
		out, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Decode(out)
		if err != nil || again != m {
			t.Fatalf("%q was read as %+v, written as %s and read as %+v, %v", b, m, out, again, err)
		}
		k := newSink(t)
		p := NewPad(k, &k.ids)
		p.Bind(0, []string{"south", "key_j"}, true)
		for i := range int64(3) {
			if p.Message(i*ms, m) != nil {
				break
			}
		}
		p.Close(5 * ms)
		k.allUp()
	})
}
