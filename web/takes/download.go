package takes

import (
	"errors"
	"mime"
	"net/http"
	"slices"

	"holdgap/capture/take"
	"holdgap/overlay/frame"
	"holdgap/render/export"
)

// export sends a take in the format of another program, as a file to save.
func (s *Server) export(w http.ResponseWriter, r *http.Request) {
	fail := func(err error) {
		status := http.StatusInternalServerError
		var ref refused
		if errors.As(err, &ref) {
			status = ref.status
		}
		http.Error(w, err.Error(), status)
	}
	j, err := s.judge(r)
	if err != nil {
		fail(err)
		return
	}
	o := ExportOptions{Name: r.PathValue("take"), ZeroNS: j.Zero()}
	q := r.URL.Query()
	if o.Format, err = FindFormat(q.Get("as")); err != nil {
		fail(bad(err))
		return
	}
	if v := q.Get("video"); v != "" {
		if i := slices.IndexFunc(j.Scan.Videos, func(x take.Video) bool { return x.Name == v }); i >= 0 {
			o.ZeroNS = j.Scan.Videos[i].Offset
		}
	}
	if tc := q.Get("timecode"); tc != "" {
		rate, err := frame.ParseRate(tc)
		if err == nil {
			var t export.Timecode
			if t, err = export.NewTimecode(rate, q.Get("drop") == "1", q.Get("start")); err == nil {
				o.Timecode, o.VideoRate = &t, rate
			}
		}
		if err != nil {
			fail(bad(err))
			return
		}
	} else if o.Format.Name == "timecode" {
		fail(bad(errors.New("timecode needs the video's rate: give timecode=30000/1001, for example")))
		return
	}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Type", o.Format.Type+"; charset=utf-8")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": o.Name + "." + o.Format.Name + "." + o.Format.Ext}))
	if err := j.Export(r.Context(), w, o); err != nil {
		// Part of it is sent: break off, so that nobody takes it for whole.
		panic(http.ErrAbortHandler)
	}
}
