package hub_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdgap/web/hub"
	"holdgap/web/wire"
)

func decode(t require.TestingT, m hub.Message) wire.Update {
	var u wire.Update
	require.NoError(t, json.Unmarshal(m.Text, &u))
	return u
}

func still() float64 { return 42.5 }

func TestJoinerIsToldEverything(t *testing.T) {
	h := hub.New(still)
	require.NoError(t, h.Publish(wire.Update{Whole: true, Setup: &wire.Setup{Rate: "60"}}))
	require.NoError(t, h.Publish(wire.Update{Presses: []wire.Press{{ID: 1, State: wire.Down}},
		Multis: []wire.Multi{{ID: 1, Flash: true}}, Outcomes: []wire.Outcome{{ID: 1, Flash: true}}}))
	require.NoError(t, h.Publish(wire.Update{Presses: []wire.Press{{ID: 1, State: wire.Closed, Hold: 4}}}))
	v, err := h.Join()
	require.NoError(t, err)
	u := decode(t, <-v.Queue())
	require.True(t, u.Whole)
	require.Equal(t, wire.Version, u.V)
	require.EqualValues(t, 3, u.N)
	require.InDelta(t, 42.5, u.F, 0)
	require.Equal(t, "60", u.Setup.Rate)
	require.Len(t, u.Presses, 1)
	require.EqualValues(t, 4, u.Presses[0].Hold)
	require.False(t, u.Multis[0].Flash, "what is past does not flash")
	require.False(t, u.Outcomes[0].Flash)
	require.NoError(t, h.Publish(wire.Update{}))
	require.EqualValues(t, 4, decode(t, <-v.Queue()).N)
	h.Leave(v)
	h.Leave(v)
	_, ok := <-v.Queue()
	require.False(t, ok)
}

// Publishing never waits; a viewer that fell behind is told everything anew.
func TestSlowViewerIsResynchronised(t *testing.T) {
	h := hub.New(still)
	v, err := h.Join()
	require.NoError(t, err)
	for i := range uint64(3 * hub.QueueLength) {
		require.NoError(t, h.Publish(wire.Update{Presses: []wire.Press{{ID: i + 1, Hold: int64(i)}}}))
	}
	require.NotZero(t, h.Stats().Resyncs)
	know := map[uint64]int64{}
	var n uint64
	for len(v.Queue()) > 0 {
		u := decode(t, <-v.Queue())
		if u.Whole {
			know = map[uint64]int64{}
		} else {
			require.Equal(t, n+1, u.N, "no gap without a whole update")
		}
		n = u.N
		for _, p := range u.Presses {
			know[p.ID] = p.Hold
		}
	}
	require.Len(t, know, 3*hub.QueueLength)
}

// A joiner is not told the count so far of a press that was let go since.
func TestHeldCountEndsWithThePress(t *testing.T) {
	h := hub.New(still)
	require.NoError(t, h.Publish(wire.Update{Presses: []wire.Press{{ID: 1, State: wire.Down}, {ID: 2, State: wire.Down}},
		Held: []wire.Held{{1, 3}, {2, 4}}}))
	require.NoError(t, h.Publish(wire.Update{Presses: []wire.Press{{ID: 2, State: wire.Closed, Hold: 5}}}))
	require.Equal(t, []wire.Held{{1, 3}}, h.Whole().Held)
}

// However an update stream is cut into updates, a page that applies messages in
// order knows what a page that joins at the end is told.
func TestFollowerKnowsWhatAJoinerIsTold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := hub.New(still)
		v, err := h.Join()
		require.NoError(t, err)
		var page hub.Store
		read := func() {
			for len(v.Queue()) > 0 {
				u := decode(t, <-v.Queue())
				page.Apply(&u)
			}
		}
		next := uint64(1)
		for range rapid.IntRange(1, 400).Draw(t, "updates") {
			var u wire.Update
			for range rapid.IntRange(0, 3).Draw(t, "presses") {
				id := next
				if next > 4 && rapid.Bool().Draw(t, "again") {
					id -= rapid.Uint64Range(1, 4).Draw(t, "back")
				} else {
					next++
				}
				u.Presses = append(u.Presses, wire.Press{ID: id, Hold: rapid.Int64Range(0, 9).Draw(t, "hold"), Keys: []int{}})
			}
			require.NoError(t, h.Publish(u))
			if rapid.IntRange(0, 20).Draw(t, "read") == 0 {
				read()
			}
		}
		read()
		for range 2 { // what is owed comes with the next update
			require.NoError(t, h.Publish(wire.Update{}))
			read()
		}
		require.Equal(t, h.Whole().Presses, page.Whole().Presses)
	})
}

func TestClosedHub(t *testing.T) {
	h := hub.New(still)
	v, err := h.Join()
	require.NoError(t, err)
	h.Close()
	<-v.Queue()
	_, ok := <-v.Queue()
	require.False(t, ok)
	_, err = h.Join()
	require.Error(t, err)
	require.NoError(t, h.Publish(wire.Update{}))
}
