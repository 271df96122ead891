package main

import (
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"holdgap/overlay/odds"
)

func TestParseMS(t *testing.T) {
	for s, want := range map[string]int64{
		"0": 0, "20": 20_000_000, "16.683333": 16_683_333, "0.000001": 1, " 7.5 ": 7_500_000, "-3": -3_000_000, "3600000": 3_600_000_000_000, "007": 7_000_000,
	} {
		got, err := parseMS(s)
		require.NoError(t, err, s)
		assert.Equal(t, want, got, s)
	}
	for _, s := range []string{"", ".", "-", "1.", ".5", "1e3", "0x10", "NaN", "inf", "+1", "--1", "1,5", "0.0000001", "3600000.000001", "99999999999999999999", "1 2", "１"} {
		_, err := parseMS(s)
		assert.Error(t, err, s)
	}
}

func TestParsePresses(t *testing.T) {
	want := []odds.Press{{Down: 0, Up: 20_000_000}, {Down: 35_000_000, Up: 60_500_000}}
	for _, values := range [][]string{{"0:20", "35:60.5"}, {"0:20,35:60.5"}, {" 0 : 20 , 35:60.500"}} {
		got, err := parsePresses(values)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	// The second may come at the very instant of the first's release.
	_, err := parsePresses([]string{"0:20", "20:40"})
	require.NoError(t, err)
}

// FuzzParsePresses: no list of presses crashes the parser, what it takes can be
// worked out, and what it takes is written so that it reads the same again.
func FuzzParsePresses(f *testing.F) {
	for _, s := range []string{"0:20", "0:20,35:60", "0:16.683333,33.366667:50", ":", ",", "0:20,10:30", "20:0", "-1:5", "1e9:2e9", "0:0.000001", "3599999:3600000"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		list, err := parsePresses([]string{s})
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.NoError(t, odds.ValidatePresses(list))
		var again []string
		for _, p := range list {
			again = append(again, formatPress(p))
		}
		back, err := parsePresses(again)
		require.NoError(t, err)
		require.Equal(t, list, back)
	})
}

// FuzzFrames does the same for lists of frames.
func FuzzFrames(f *testing.F) {
	for _, s := range []string{"0,2,5", "", ",", "1,1,4", "-1", "0x3", "1e2", "9999999999999999999", "0, 2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var l, back framesList
		if err := l.Set(s); err != nil {
			return
		}
		require.NotEmpty(t, l)
		require.NoError(t, back.Set(l.String()))
		require.Equal(t, l, back)
	})
}

// TestUsage: what is wrong with the call is a usage error, exit status 2.
func TestUsage(t *testing.T) {
	for _, line := range []string{
		"window", "window --frames 601", "window --frames 3 --spacing 1", "window --frames 3 x",
		"odds", "odds --press 0", "odds --press 0:20 --rate 0", "odds --press 0:20 x",
		"odds --press 0:20,30:50,60:80,90:110,120:140,150:170,180:200,210:230,240:260,270:290 --report-ms 16",
	} {
		args := strings.Fields(line)
		cmd := map[string]func() *cobra.Command{"window": windowCommand, "odds": oddsCommand}[args[0]]()
		cmd.SetArgs(args[1:])
		cmd.SetOut(io.Discard)
		cmd.SetErr(io.Discard)
		cmd.SilenceUsage, cmd.SilenceErrors = true, true
		err := cmd.Execute()
		var usage usageError
		assert.True(t, errors.As(err, &usage), "%s: %v", line, err)
	}
}
