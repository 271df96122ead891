package takes

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/overlay/review"
	"holdgap/web/static"
)

const (
	// maxBody bounds what the page sends, in bytes.
	maxBody = 16 << 10
	// keepJudged is how many judged takes are kept for the page's next look.
	keepJudged = 8
	// maxList bounds the takes of a list and the moments of an answer.
	maxList    = 2000
	maxMoments = 200
	// trendParts is how many parts a take's trend is shown in.
	trendParts = 32
)

// Server answers the page of takes. Mount its [Server.Routes].
type Server struct {
	folder  Folder
	control *Control // nil where nothing is recorded

	mu     sync.Mutex
	judged []*kept // the newest last
	busy   chan struct{}
}

// kept is a judged take, or one that is being judged.
type kept struct {
	key  string
	once sync.Once
	j    *Judged
	err  error
}

// NewServer returns a server for a folder of takes; control may be nil.
func NewServer(folder Folder, control *Control) *Server {
	return &Server{folder: folder, control: control, busy: make(chan struct{}, 2)}
}

// Routes returns the handlers by pattern. They check what they are sent, but not
// who asks: that is done around them.
func (s *Server) Routes() map[string]http.Handler {
	get := func(f func(*http.Request) (any, error)) http.Handler { return answer(f) }
	post := func(f func(*http.Request, *body) (any, error)) http.Handler {
		return answer(func(r *http.Request) (any, error) {
			b, err := readBody(r)
			if err != nil {
				return nil, err
			}
			return f(r, b)
		})
	}
	return map[string]http.Handler{
		"GET /takes":                http.HandlerFunc(s.page),
		"GET /takes/list":           get(s.list),
		"GET /takes/{take}/brief":   get(s.brief),
		"GET /takes/{take}/summary": get(s.summary),
		"GET /takes/{take}/view":    get(s.view),
		"GET /takes/{take}/find":    get(s.find),
		"GET /takes/{take}/export":  http.HandlerFunc(s.export),
		"GET /takes/recording":      get(s.recording),
		"POST /takes/recording":     post(s.record),
		"POST /takes/{take}/mark":   post(s.mark),
		"POST /takes/{take}/video":  post(s.video),
		"POST /takes/{take}/forget": post(s.forget),
	}
}

// refused is an error of the request, with its status.
type refused struct {
	status int
	err    error
}

func (e refused) Error() string { return e.err.Error() }
func (e refused) Unwrap() error { return e.err }

func bad(err error) error { return refused{http.StatusBadRequest, err} }

func answer(f func(*http.Request) (any, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if r.Context().Err() != nil {
			return // the page has gone on
		}
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("Content-Type", "application/json")
		if err != nil {
			status := http.StatusInternalServerError
			var ref refused
			if errors.As(err, &ref) {
				status = ref.status
			}
			w.WriteHeader(status)
			v = map[string]string{"error": err.Error()}
		}
		_ = json.NewEncoder(w).Encode(v)
	})
}

// body is everything that the page sends.
type body struct {
	Do     string  `json:"do"`
	At     float64 `json:"at"` // seconds from the take's first moment
	Text   string  `json:"text"`
	Name   string  `json:"name"`
	Size   uint64  `json:"size"`
	Rate   string  `json:"rate"`
	Offset float64 `json:"offset"` // seconds from the take's first moment
}

func readBody(r *http.Request) (*body, error) {
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		return nil, refused{http.StatusUnsupportedMediaType, errors.New("send JSON")}
	}
	d := json.NewDecoder(http.MaxBytesReader(nil, r.Body, maxBody))
	d.DisallowUnknownFields()
	var b body
	if err := d.Decode(&b); err != nil {
		return nil, bad(fmt.Errorf("reading what the page sent: %w", err))
	}
	return &b, nil
}

func (s *Server) page(w http.ResponseWriter, _ *http.Request) {
	b, err := fs.ReadFile(static.FS, "takes.html")
	if err != nil {
		http.Error(w, "the page of takes is not part of this program", http.StatusNotFound)
		return
	}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b)
}

// listed is a take in the page's list.
type listed struct {
	Name    string    `json:"name"`
	Start   time.Time `json:"start"`
	Seconds float64   `json:"seconds"`
	Edges   int64     `json:"edges"` // −1 if unknown
	Bytes   int64     `json:"bytes"`
	Closed  bool      `json:"closed"`
	Live    bool      `json:"live"` // being recorded now
	Trouble string    `json:"trouble,omitempty"`
}

func (s *Server) list(*http.Request) (any, error) {
	items, err := s.folder.List()
	if err != nil {
		return nil, err
	}
	now := ""
	if s.control != nil {
		now, _ = s.control.Recording()
	}
	out := []listed{}
	for _, i := range items[:min(len(items), maxList)] {
		out = append(out, listed{i.Name, i.Start, i.Seconds, i.Edges, i.Bytes, i.Closed, i.Path == now, i.Trouble})
	}
	return map[string]any{"folder": s.folder.Dir, "takes": out, "more": len(items) - len(out)}, nil
}

// judge returns the take of a request, judged as its query asks for.
func (s *Server) judge(r *http.Request) (*Judged, error) {
	path, err := s.path(r)
	if err != nil {
		return nil, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, refused{http.StatusNotFound, fmt.Errorf("take %q: there is none of that name any more", r.PathValue("take"))}
	}
	q := r.URL.Query()
	part := 0
	if p := q.Get("settings"); p != "" {
		if part, err = strconv.Atoi(p); err != nil {
			return nil, bad(fmt.Errorf("settings %q: write a number", p))
		}
		part--
	}
	try := Try{Rate: q.Get("rate"), Read: q.Get("read"), Phase: q.Get("phase"), Window: q.Get("window"), Early: q.Get("early"),
		Hold: q.Get("hold"), Target: q.Get("target"), Button: q.Get("button"), Starter: q.Get("starter"), Opening: q.Get("opening")}
	key := fmt.Sprintf("%s\x00%d\x00%d\x00%d\x00%q", path, info.Size(), info.ModTime().UnixNano(), part, try)
	s.mu.Lock()
	var k *kept
	if i := slices.IndexFunc(s.judged, func(k *kept) bool { return k.key == key }); i >= 0 {
		k = s.judged[i]
		s.judged = append(slices.Delete(s.judged, i, i+1), k)
	} else {
		k = &kept{key: key}
		s.judged = append(s.judged, k)
		if len(s.judged) > keepJudged {
			s.judged = slices.Delete(s.judged, 0, 1)
		}
	}
	s.mu.Unlock()
	k.once.Do(func() {
		s.busy <- struct{}{}
		defer func() { <-s.busy }()
		// A page that leaves does not spoil it for one that stays: the work is bounded
		// by the take.
		k.j, k.err = judge(context.WithoutCancel(r.Context()), path, part, try)
	})
	if k.err != nil { // the next one may fare better
		s.mu.Lock()
		s.judged = slices.DeleteFunc(s.judged, func(x *kept) bool { return x == k })
		s.mu.Unlock()
	}
	return k.j, k.err
}

func judge(ctx context.Context, path string, part int, try Try) (*Judged, error) {
	f, err := Open(ctx, path, nil)
	if err != nil {
		return nil, refused{http.StatusUnprocessableEntity, err}
	}
	jg, err := f.Judging(part, try)
	if err != nil {
		return nil, bad(err)
	}
	return f.Judge(ctx, jg, nil)
}

func (s *Server) path(r *http.Request) (string, error) {
	p, err := s.folder.Path(r.PathValue("take"))
	if err != nil {
		return "", bad(err)
	}
	return p, nil
}

// brief is a take in short, for the list and the trend over takes.
type brief struct {
	Profile string        `json:"profile"`
	Target  string        `json:"target"`
	Window  frame.Frame   `json:"window"`
	Rate    string        `json:"rate"`
	Presses int64         `json:"presses"`
	Hit     review.Rate   `json:"hit"`
	Covered review.Rate   `json:"covered"`
	Course  []review.Slot `json:"course"`
	Demo    bool          `json:"demo"`
}

// courseParts is in how many parts the list shows a take's course.
const courseParts = 24

func (s *Server) brief(r *http.Request) (any, error) {
	j, err := s.judge(r)
	if err != nil {
		return nil, err
	}
	b := brief{Profile: j.Parts[j.Part].Name, Target: j.Setup.Target.Name, Window: j.Setup.Target.Window,
		Rate: j.Setup.Rate.String(), Hit: j.Summary.Outcomes[0], Covered: j.Summary.Verdicts[0],
		Course: j.Summary.Trend.Parts(courseParts).Slots, Demo: j.Demo()}
	for _, x := range j.Summary.Buttons {
		b.Presses += x.Presses
	}
	return b, nil
}

// Demo reports whether the performer of the demo played in the take.
func (f *File) Demo() bool {
	return slices.ContainsFunc(f.Scan.Devices, func(d take.Device) bool { return d.Device.Source == "demo" })
}

// number reads a frame from the query.
func frameOf(r *http.Request, name string) (frame.Frame, error) {
	v, err := strconv.ParseInt(r.URL.Query().Get(name), 10, 64)
	if err != nil || v < -1<<53 || v > 1<<53 {
		return 0, bad(fmt.Errorf("%s %q: write a frame as a whole number", name, r.URL.Query().Get(name)))
	}
	return frame.Frame(v), nil
}

func (s *Server) view(r *http.Request) (any, error) {
	j, err := s.judge(r)
	if err != nil {
		return nil, err
	}
	a, err := frameOf(r, "from")
	if err != nil {
		return nil, err
	}
	b, err := frameOf(r, "to")
	if err != nil {
		return nil, err
	}
	u, err := j.View(r.Context(), a, b)
	if err != nil {
		return nil, bad(err)
	}
	return u, nil
}

func (s *Server) find(r *http.Request) (any, error) {
	j, err := s.judge(r)
	if err != nil {
		return nil, err
	}
	at, err := frameOf(r, "at")
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	f := Filter{What: q.Get("what"), Button: q.Get("of")}
	if k := q.Get("kinds"); k != "" {
		f.Kinds = strings.Split(k, ",")
	}
	limit := 1
	if l := q.Get("limit"); l != "" {
		if limit, err = strconv.Atoi(l); err != nil || limit < 1 || limit > maxMoments {
			return nil, bad(fmt.Errorf("limit %q: write 1 to %d", l, maxMoments))
		}
	}
	m, err := j.Find(r.Context(), at, q.Get("back") == "1", f, limit)
	if err != nil {
		return nil, bad(err)
	}
	return map[string]any{"moments": m}, nil
}

func (s *Server) recording(*http.Request) (any, error) {
	out := map[string]any{"able": s.control != nil, "on": false, "ring": false, "name": ""}
	if s.control != nil {
		path, on := s.control.Recording()
		out["on"], out["ring"] = on, s.control.ring != nil
		if on {
			out["name"] = strings.TrimSuffix(filepath.Base(path), Ext)
		}
	}
	return out, nil
}

func (s *Server) record(_ *http.Request, b *body) (any, error) {
	if s.control == nil {
		return nil, refused{http.StatusConflict, errors.New("nothing is recorded here: run holdgap live")}
	}
	var err error
	switch b.Do {
	case "start":
		err = s.control.Start()
	case "stop":
		err = s.control.Stop()
	case "mark":
		err = s.control.Mark(b.Text)
	case "recent":
		err = s.control.SaveRecent()
	default:
		return nil, bad(fmt.Errorf("%q is not known: send start, stop, mark or recent", b.Do))
	}
	if err != nil {
		return nil, refused{http.StatusConflict, err}
	}
	return s.recording(nil)
}

// append adds a note to a take that is not being recorded.
func (s *Server) append(r *http.Request, n func(*File) (take.Note, error)) (any, error) {
	path, err := s.path(r)
	if err != nil {
		return nil, err
	}
	if s.control != nil {
		if now, on := s.control.Recording(); on && now == path {
			return nil, refused{http.StatusConflict, errors.New("the take is still being recorded: stop that first")}
		}
	}
	f, err := Open(r.Context(), path, nil)
	if err != nil {
		return nil, refused{http.StatusUnprocessableEntity, err}
	}
	note, err := n(f)
	if err != nil {
		return nil, bad(err)
	}
	if err := take.Append(path, note); err != nil {
		return nil, err
	}
	return map[string]bool{"ok": true}, nil
}

func (s *Server) mark(r *http.Request, b *body) (any, error) {
	return s.append(r, func(f *File) (take.Note, error) {
		at, err := f.time(b.At)
		return take.Mark{At: at, Text: strings.TrimSpace(b.Text)}, err
	})
}

// time returns seconds from the take's first moment as a time on the edges' clock.
func (f *File) time(s float64) (int64, error) {
	if math.IsNaN(s) || math.Abs(s) > 1e8 {
		return 0, fmt.Errorf("%v is not a time in the take", s)
	}
	return f.Zero() + int64(math.Round(s*1e9)), nil
}

func (s *Server) video(r *http.Request, b *body) (any, error) {
	return s.append(r, func(f *File) (take.Note, error) {
		at, err := f.time(b.Offset)
		if err != nil {
			return nil, err
		}
		v := take.Video{Offset: at, Name: b.Name, Size: b.Size}
		if b.Name == "" || b.Name != filepath.Base(b.Name) {
			return nil, fmt.Errorf("%q is not the name of a file", b.Name)
		}
		if b.Rate != "" {
			rate, err := frame.ParseRate(b.Rate)
			if err != nil {
				return nil, err
			}
			v.Num, v.Den = uint64(rate.Num()), uint64(rate.Den())
		}
		return v, nil
	})
}

func (s *Server) forget(r *http.Request, b *body) (any, error) {
	path, err := s.path(r)
	if err != nil {
		return nil, err
	}
	if b.Text != r.PathValue("take") {
		return nil, bad(errors.New("to forget a take, send its name as the text too"))
	}
	if s.control != nil {
		if now, on := s.control.Recording(); on && now == path {
			return nil, refused{http.StatusConflict, errors.New("the take is still being recorded: stop that first")}
		}
	}
	if err := os.Remove(path); err != nil {
		return nil, refused{http.StatusConflict, fmt.Errorf("forgetting the take: %w", err)}
	}
	return map[string]bool{"ok": true}, nil
}
