package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdgap/capture"
	"holdgap/capture/evdev"
	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/render/export"
	"holdgap/web/live"
	"holdgap/web/takes"
)

func takesExportCommand(f *takesFlags) *cobra.Command {
	var as, out, tcRate, tcStart, video string
	var drop, force bool
	var about strings.Builder
	for _, x := range takes.Formats {
		fmt.Fprintf(&about, "\n  %-10s %s", x.Name, x.About)
	}
	cmd := &cobra.Command{
		Use: "export TAKE --as FORMAT [-o FILE]", Short: "Write a take in the format of another program",
		Long: "Writes a take in the format of another program, to FILE or to the terminal:\n" + about.String() + `

Times count from the take's first moment, or with --video from the beginning of a
video that was matched with the take on the page of takes.`,
		Args: oneTake("export"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := takes.ExportOptions{}
			var err error
			if o.Format, err = takes.FindFormat(as); err != nil {
				return usageError{fmt.Errorf("--as: %w", err)}
			}
			if tcRate != "" {
				rate, err := frame.ParseRate(tcRate)
				if err != nil {
					return usageError{fmt.Errorf("--timecode: %w", err)}
				}
				tc, err := export.NewTimecode(rate, drop, tcStart)
				if err != nil {
					return usageError{err}
				}
				o.Timecode, o.VideoRate = &tc, rate
			} else if o.Format.Name == "timecode" || drop || tcStart != "" {
				return usageError{errors.New("--timecode is missing: give the video's rate, for example 30000/1001")}
			}
			path, err := f.path(args[0])
			if err != nil {
				return err
			}
			p := newProgress(cmd.ErrOrStderr())
			j, err := f.judge(cmd.Context(), path, p)
			if err != nil {
				return err
			}
			p.what = "exporting " + filepath.Base(path)
			defer p.end()
			j.Progress = p.step
			o.Name, o.ZeroNS = takeName(path), j.Zero()
			if video != "" {
				i := slices.IndexFunc(j.Scan.Videos, func(v take.Video) bool { return v.Name == filepath.Base(video) })
				if i < 0 {
					return usageError{fmt.Errorf("--video %q: no video of this name was matched with the take: match it on the page of takes", video)}
				}
				o.ZeroNS = j.Scan.Videos[i].Offset
			}
			if out == "" || out == "-" {
				w := bufio.NewWriter(cmd.OutOrStdout())
				if err := j.Export(cmd.Context(), w, o); err != nil {
					return err
				}
				return w.Flush()
			}
			return writeWhole(out, force, func(w io.Writer) error { return j.Export(cmd.Context(), w, o) })
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&as, "as", "", "the `format`, see above")
	fl.StringVarP(&out, "output", "o", "", "the `file` to write; without it, the terminal")
	fl.BoolVar(&force, "force", false, "write over a file that exists")
	fl.StringVar(&tcRate, "timecode", "", "`rate` of the video whose frames are labelled: 24, 25, 30000/1001, …")
	fl.BoolVar(&drop, "drop", false, "drop-frame labels (30000/1001 and 60000/1001 only)")
	fl.StringVar(&tcStart, "start", "", "`label` of the video's first frame, for example 01:00:00:00")
	fl.StringVar(&video, "video", "", "count from the beginning of this matched video `file`")
	tryFlags(cmd, f)
	return cmd
}

func takesImportCommand(f *takesFlags) *cobra.Command {
	var as, out string
	cmd := &cobra.Command{
		Use: "import FILE -o TAKE", Short: "Make a take of recorded kernel events or a table of edges",
		Long: `Makes a take of FILE:

  events   raw input_event structures of a 64-bit kernel, as a copy of
           /dev/input/event… holds them
  edges    a table of edges (CSV), as takes export --as edges writes it

Without --as the file's beginning tells. Of events, every key that a pad commonly has
becomes a button by its position.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{fmt.Errorf("takes import takes one file, but got %q", args)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if as != "" && as != "events" && as != "edges" {
				return usageError{fmt.Errorf("--as %q: write events or edges", as)}
			}
			p := newProgress(cmd.ErrOrStderr())
			n, path, err := importTake(cmd.Context(), f, args[0], as, out, p)
			p.end()
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: %d edges\n", path, n)
			return err
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&as, "as", "", "what the file is: `format` events or edges")
	fl.StringVarP(&out, "output", "o", "", "the new take's `file`; without it, one of the file's name in the folder")
	tryFlags(cmd, f)
	return cmd
}

// importTake writes a new take and returns how many edges it has, and its path.
func importTake(ctx context.Context, f *takesFlags, from, as, out string, p *progress) (uint64, string, error) {
	in, err := os.Open(from)
	if err != nil {
		return 0, "", fmt.Errorf("importing: %w", err)
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return 0, "", fmt.Errorf("importing %q: %w", from, err)
	}
	if info.IsDir() {
		return 0, "", fmt.Errorf("importing %q: it is a folder: give a file", from)
	}
	p.what = "importing " + filepath.Base(from)
	head := make([]byte, 6)
	n, err := io.ReadFull(in, head)
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return 0, "", fmt.Errorf("importing %q: the file is empty", from)
	case err != nil && !errors.Is(err, io.ErrUnexpectedEOF):
		return 0, "", fmt.Errorf("importing %q: %w", from, err)
	}
	if as == "" {
		as = "events"
		if b := strings.TrimPrefix(string(head[:n]), "\uFEFF"); strings.IndexFunc(b, func(r rune) bool { return r < ' ' || r > '~' }) < 0 {
			as = "edges"
		}
	}
	if out == "" {
		lib, err := f.library()
		if err != nil {
			return 0, "", err
		}
		if err := os.MkdirAll(lib.Dir, 0o700); err != nil {
			return 0, "", fmt.Errorf("making the folder of takes: %w", err)
		}
		if out, err = lib.Path(strings.TrimSuffix(filepath.Base(from), filepath.Ext(from))); err != nil {
			return 0, "", err
		}
	}
	fail := func(err error) (uint64, string, error) {
		return 0, "", fmt.Errorf("importing %q: %w", from, err)
	}
	setup := live.DefaultSetup()
	// Twice through the file, so that however long it is little memory is needed:
	// first to see whether it is right, and what buttons it has.
	var table *export.EdgesTable
	edges := func(yield func(capture.Edge, error) bool) {
		if _, err := in.Seek(0, io.SeekStart); err != nil {
			yield(capture.Edge{}, err)
			return
		}
		src := bufio.NewReader(&counted{r: in, ctx: ctx, total: info.Size(), p: p})
		if as == "edges" {
			table = export.ReadEdges(src)
			table.Edges()(yield)
			return
		}
		sink := &mapped{m: capture.NewMapper(setup.Layout, setup.Cleaning), yield: yield}
		dev := capture.Device{ID: 1, Name: filepath.Base(from), Source: "evdev"}
		if err := evdev.DecodeStream(src, evdev.Stream{Device: dev}, sink); err != nil && !sink.over {
			yield(capture.Edge{}, err)
		}
	}
	count, first := 0, int64(0)
	for e, err := range edges {
		if err != nil {
			return fail(err)
		}
		if count++; count == 1 {
			first = e.At
		}
	}
	if count == 0 {
		return fail(errors.New("it holds no edge of a button: nothing was written"))
	}
	if table != nil {
		if setup.Layout, err = layoutOf(table.Labels()); err != nil {
			return fail(err)
		}
	}
	if setup, err = f.try.Apply(setup, nil); err != nil {
		return 0, "", usageError{err}
	}
	note, err := takes.SettingsNote(first, takes.ProfileOf("import", setup))
	if err != nil {
		return fail(err)
	}
	h := take.Header{Start: info.ModTime(), StartAt: first, Program: "holdgap import"}
	dev := take.Device{At: first, Attached: true, Device: capture.Device{ID: 1, Name: filepath.Base(from), Source: "evdev"}}
	written, err := take.Create(ctx, out, h, []take.Note{note, dev}, edges)
	return written, out, err
}

// layoutOf makes a layout of the labels of a table: those of the usual layout keep
// their roles, and a number without a label becomes a button of its own.
func layoutOf(labels []string) (capture.Layout, error) {
	usual := capture.DefaultLayout()
	var l capture.Layout
	for i, label := range labels {
		b := capture.Button{Label: label, Keys: []string{}}
		if label == "" {
			b.Label = "button " + strconv.Itoa(i+1)
		}
		if k := usual.Index(label); k >= 0 {
			b = usual.Buttons[k]
		}
		l.Buttons = append(l.Buttons, b)
	}
	if len(l.Buttons) == 0 {
		return usual, nil
	}
	return l, l.Check()
}

// mapped binds inputs and hands the edges on.
type mapped struct {
	m     *capture.Mapper
	yield func(capture.Edge, error) bool
	buf   []capture.Edge
	last  int64 // ns
	over  bool  // no more are wanted
}

func (s *mapped) put(edges []capture.Edge) {
	s.buf = edges
	for _, e := range edges {
		s.last = e.At
		s.over = s.over || !s.yield(e, nil)
	}
}

func (s *mapped) Input(in capture.Input)    { s.put(s.m.Map(in, s.buf[:0])) }
func (s *mapped) Attach(capture.Device)     {}
func (s *mapped) Detach(_ uint16, at int64) { s.put(s.m.ReleaseAll(max(at, s.last), s.buf[:0])) }
func (s *mapped) Warn(_, _ string)          {}

func takesRepairCommand(f *takesFlags) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use: "repair TAKE -o NEW", Short: "Write what can be read of a damaged take to a new file",
		Args: oneTake("repair"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return rewrite(cmd, f, args[0], out, "repairing", func(ctx context.Context, path string, p take.Progress) (take.Report, error) {
				return take.Repair(ctx, path, out, p)
			})
		},
	}
	cmd.Flags().StringVarP(&out, "output", "o", "", "the new take's `file`")
	return cmd
}

func takesTrimCommand(f *takesFlags) *cobra.Command {
	var out, from, to string
	cmd := &cobra.Command{
		Use: "trim TAKE --from TIME --to TIME -o NEW", Short: "Write a part of a take to a new file",
		Long: `Writes the part of a take from one time to another to a new file. Times count from the
take's first moment: 75.5, 1:15.5 or 0:01:15.5.`,
		Args: oneTake("trim"),
		RunE: func(cmd *cobra.Command, args []string) error {
			a, err := parseClock(from)
			if err != nil {
				return usageError{fmt.Errorf("--from %w", err)}
			}
			b := int64(-1)
			if to != "" {
				if b, err = parseClock(to); err != nil {
					return usageError{fmt.Errorf("--to %w", err)}
				}
				if b <= a {
					return usageError{fmt.Errorf("--to %q is not after --from %q", to, from)}
				}
			}
			return rewrite(cmd, f, args[0], out, "trimming", func(ctx context.Context, path string, p take.Progress) (take.Report, error) {
				file, err := takes.Open(ctx, path, nil)
				if err != nil {
					return take.Report{}, err
				}
				end := file.End()
				if b >= 0 {
					end = file.Zero() + b
				}
				return take.Trim(ctx, path, out, file.Zero()+a, end, p)
			})
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&from, "from", "0", "`time` of the beginning")
	fl.StringVar(&to, "to", "", "`time` of the end; without it, the take's")
	fl.StringVarP(&out, "output", "o", "", "the new take's `file`")
	return cmd
}

func rewrite(cmd *cobra.Command, f *takesFlags, arg, out, what string, do func(context.Context, string, take.Progress) (take.Report, error)) error {
	if out == "" {
		return usageError{errors.New("--output is missing: name the new file with -o")}
	}
	path, err := f.path(arg)
	if err != nil {
		return err
	}
	p := newProgress(cmd.ErrOrStderr())
	p.what = what + " " + filepath.Base(path)
	r, err := do(cmd.Context(), path, p.step)
	p.end()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: %s\n", out, r)
	return err
}

// parseClock reads seconds, m:ss or h:mm:ss as ns.
func parseClock(s string) (int64, error) {
	bad := fmt.Errorf("%q: write seconds, m:ss or h:mm:ss, for example 75.5 or 1:15.5", s)
	parts := strings.Split(s, ":")
	if len(parts) > 3 {
		return 0, bad
	}
	total := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || !(v >= 0) || v > 1e7 || i > 0 && v >= 60 || i < len(parts)-1 && v != float64(int64(v)) {
			return 0, bad
		}
		total = total*60 + v
	}
	return int64(total * 1e9), nil
}

// writeWhole writes a file that is there only when it is whole: an error or an
// interruption leaves nothing, and what was there before stays.
func writeWhole(path string, force bool, write func(io.Writer) error) (err error) {
	if !force && takes.Exists(path) {
		return fmt.Errorf("writing %q: the file exists: choose another name, or add --force", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".holdgap-*")
	if err != nil {
		return fmt.Errorf("writing %q: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			_ = os.Remove(f.Name())
		}
	}()
	w := bufio.NewWriterSize(f, 1<<16)
	if err := write(w); err != nil {
		return err
	}
	if err := errors.Join(w.Flush(), f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("writing %q: %w", path, err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("writing %q: %w", path, err)
	}
	return nil
}

// counted reads a file, with progress, until ctx ends.
type counted struct {
	r     io.Reader
	ctx   context.Context
	done  int64
	total int64
	p     *progress
}

func (c *counted) Read(b []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := c.r.Read(b)
	c.done += int64(n)
	c.p.step(c.done, c.total)
	return n, err
}

// progress tells on the terminal how far something is that takes more than a
// second.
type progress struct {
	out   io.Writer
	what  string
	begun time.Time
	last  time.Time
	told  bool
}

func newProgress(out io.Writer) *progress {
	return &progress{out: out, begun: time.Now()}
}

func (p *progress) step(done, total int64) {
	now := time.Now()
	if now.Sub(p.begun) < time.Second || now.Sub(p.last) < 200*time.Millisecond {
		return
	}
	p.last, p.told = now, true
	fmt.Fprintf(p.out, "\r%s: %d %%", p.what, 100*done/max(total, 1))
}

// end goes to a new line if anything was told.
func (p *progress) end() {
	if p.told {
		fmt.Fprintln(p.out)
		p.told = false
	}
}
