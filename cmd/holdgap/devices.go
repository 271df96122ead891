package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"holdgap/capture/evdev"
)

// longestWatch bounds --watch, in seconds.
const longestWatch = 600

func devicesCommand() *cobra.Command {
	var asJSON bool
	var seconds float64
	var root string
	cmd := &cobra.Command{
		Use:   "devices [--json] [--watch SECONDS]",
		Short: "List the input devices, whether they can be read, and what to do if not",
		Long: `List every input device that the kernel knows: what it is, its
bus:vendor:product identity, and whether it can be read; if not, the exact remedy.

No device is opened, unless --watch is given: then every readable pad, stick and
button box is read for so many seconds, and the interval at which it reports is
measured from its own event times. Move a stick or mash a button meanwhile.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("devices takes no argument, but got %q: run it without", args[0])}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("watch") && !(seconds > 0 && seconds <= longestWatch) {
				return usageError{fmt.Errorf("--watch %v: write a number of seconds above 0 and up to %d", seconds, longestWatch)}
			}
			return runDevices(cmd.Context(), root, time.Duration(seconds*float64(time.Second)), asJSON, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write the list as JSON")
	cmd.Flags().Float64Var(&seconds, "watch", 0, "read the devices for so many `seconds` and measure their report interval")
	cmd.Flags().StringVar(&root, "root", "/", "the `directory` that holds dev and sys")
	_ = cmd.Flags().MarkHidden("root") // for tests; the flag is there, so this cannot fail
	return cmd
}

// runDevices lists the devices under root.
func runDevices(ctx context.Context, root string, watch time.Duration, asJSON bool, out, notes io.Writer) error {
	infos, err := evdev.Scan(root)
	if err != nil {
		return err
	}
	if watch > 0 {
		var play []string
		for _, i := range infos {
			if i.Plays() && i.Readable {
				play = append(play, printable(i.Name))
			}
		}
		if len(play) == 0 {
			fmt.Fprintln(notes, "there is no pad, stick or button box to watch")
		} else {
			fmt.Fprintf(notes, "watching for %v, move a stick or mash a button of: %s\n", watch, strings.Join(play, ", "))
			ctx, cancel := context.WithTimeout(ctx, watch)
			defer cancel()
			if err := evdev.Watch(ctx, root, infos); err != nil {
				return err
			}
		}
	}
	if asJSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		return enc.Encode(infos)
	}
	return printDevices(out, infos, watch > 0)
}

func printDevices(out io.Writer, infos []evdev.Info, watched bool) error {
	if len(infos) == 0 {
		_, err := fmt.Fprintln(out, "No input device. Plug one in and run this again, or play from a browser: holdgap live, then open /pad.")
		return err
	}
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	head := []string{"DEVICE", "KIND", "BUS:VENDOR:PRODUCT", "READABLE", "NAME"}
	if watched {
		head = []string{"DEVICE", "KIND", "BUS:VENDOR:PRODUCT", "READABLE", "REPORTS EVERY", "PRESSES", "NAME"}
	}
	fmt.Fprintln(w, strings.Join(head, "\t"))
	for _, i := range infos {
		readable := "yes"
		if !i.Readable {
			readable = "no"
		}
		cells := []string{i.Path, string(i.Kind), i.Identity, readable}
		if watched {
			cells = append(cells, deviceInterval(i), devicePresses(i))
		}
		fmt.Fprintln(w, strings.Join(append(cells, printable(i.Name)), "\t"))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	// What is to be said of several devices is said once.
	var order []string
	about := map[string][]string{}
	say := func(text, path string) {
		if text == "" {
			return
		}
		if _, ok := about[text]; !ok {
			order = append(order, text)
		}
		about[text] = append(about[text], path)
	}
	for _, i := range infos {
		switch {
		case i.Plays():
			say(i.Remedy, i.Path)
		case i.Kind == evdev.Keyboard && i.Remedy != "": // nobody needs to open a keyboard unasked
			say(i.Note+"\nonly if you want to bind keys of it: "+i.Remedy, i.Path)
		case i.Kind == evdev.Keyboard:
			say(i.Note, i.Path)
		}
	}
	for _, text := range order {
		fmt.Fprintf(&b, "\n%s:\n  %s\n", strings.Join(about[text], ", "), strings.ReplaceAll(text, "\n", "\n  "))
	}
	_, err := io.WriteString(out, b.String())
	return err
}

func deviceInterval(i evdev.Info) string {
	switch {
	case i.ReportMS != 0:
		return strconv.FormatFloat(math.Round(i.ReportMS*1000)/1000, 'g', -1, 64) + " ms"
	case !i.Readable || !i.Plays():
		return "-"
	default:
		return "unknown"
	}
}

func devicePresses(i evdev.Info) string {
	if !i.Readable || !i.Plays() {
		return "-"
	}
	return strconv.Itoa(i.Presses)
}

// printable keeps what a device calls itself from steering the terminal.
func printable(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, name)
}
