package takes

import (
	"net/http"
	"time"

	"holdgap/overlay/frame"
	"holdgap/overlay/review"
	"holdgap/overlay/session"
)

// pageSummary is what the page needs to show a take, apart from its views.
type pageSummary struct {
	Name    string    `json:"name"`
	Start   time.Time `json:"start"` // of the take's first moment
	Seconds float64   `json:"seconds"`
	Edges   int64     `json:"edges"`
	// First and Last are the frames of the take's first moment and of its end, and
	// Second how many frames a second has. Position says where the first moment lies
	// between frames.
	First    int64   `json:"first"`
	Last     int64   `json:"last"`
	Position float64 `json:"position"`
	Second   float64 `json:"second"`

	Judging  pageJudging      `json:"judging"`
	Settings []pageSettings   `json:"settings"`
	Buttons  []pageButton     `json:"buttons"`
	Multis   []review.Pattern `json:"multis"`
	Verdicts []review.Rate    `json:"verdicts"`
	Outcomes []review.Rate    `json:"outcomes"`
	Nothing  int64            `json:"nothing"`
	BestRun  int              `json:"best_run"`
	Course   []review.Slot    `json:"course"` // of equal width
	// CourseFrom and CourseWidth are the beginning of the course and the length of a
	// part of it, in seconds.
	CourseFrom  float64      `json:"course_from"`
	CourseWidth float64      `json:"course_width"`
	Trend       []trendPoint `json:"trend"`
	Marks       []pageMark   `json:"marks"`
	Videos      []pageVideo  `json:"videos"`
	Devices     []string     `json:"devices"`
	Demo        bool         `json:"demo"`
	Notes       []string     `json:"notes"` // what was lost, and other cautions
}

type pageJudging struct {
	Settings int      `json:"settings"` // which of them, from 1
	Rate     string   `json:"rate"`
	Read     string   `json:"read"`
	Phase    *float64 `json:"phase"` // ms; null if unknown
	Window   int64    `json:"window"`
	Early    string   `json:"early"`
	Hold     int64    `json:"hold"`
	Target   string   `json:"target"`
	Button   string   `json:"button"`  // "any" for any
	Starter  string   `json:"starter"` // "none" for none
	Opening  int64    `json:"opening"`
}

type pageSettings struct {
	At      float64  `json:"at"` // seconds
	Profile string   `json:"profile"`
	Targets []string `json:"targets"`
}

type pageButton struct {
	review.Button
	Index int `json:"b"`
}

// trendPoint is the rate in a part of the take.
type trendPoint struct {
	At   float64     `json:"at"` // seconds, middle of the part
	Rate review.Rate `json:"rate"`
}

type pageMark struct {
	At    float64 `json:"at"`
	Frame int64   `json:"frame"`
	Text  string  `json:"text"`
}

type pageVideo struct {
	Name   string  `json:"name"`
	Size   uint64  `json:"size"`
	Offset float64 `json:"offset"` // seconds from the take's first moment to the video's
	Rate   string  `json:"rate"`
}

func (s *Server) summary(r *http.Request) (any, error) {
	j, err := s.judge(r)
	if err != nil {
		return nil, err
	}
	return j.page(r.PathValue("take")), nil
}

func (j *Judged) page(name string) pageSummary {
	c, zero := j.Setup.Clock(), j.Zero()
	sec := func(at int64) float64 { return float64(at-zero) / 1e9 }
	p := pageSummary{Name: name, Start: j.Start(), Seconds: j.Seconds(), Edges: j.Summary.Edges + j.Skipped,
		First: int64(c.At(zero)), Last: int64(c.At(j.End())), Position: c.Position(zero), Second: j.Setup.Rate.Float(),
		Judging: j.judging(), Multis: j.Summary.Multis, Verdicts: j.Summary.Verdicts, Outcomes: j.Summary.Outcomes,
		Nothing: j.Summary.Nothing, BestRun: j.Summary.BestRun, Course: j.Summary.Trend.Slots, CourseFrom: sec(j.Summary.Trend.From), CourseWidth: float64(j.Summary.Trend.Width) / 1e9, Demo: j.Demo(),
		Settings: []pageSettings{}, Buttons: []pageButton{}, Trend: []trendPoint{}, Marks: []pageMark{}, Videos: []pageVideo{},
		Devices: []string{}, Notes: append([]string{}, j.Troubles...)}
	for _, x := range j.Parts {
		e := pageSettings{At: sec(x.At), Profile: x.Name, Targets: []string{}}
		for _, t := range x.Profile.Targets {
			e.Targets = append(e.Targets, t.Name)
		}
		p.Settings = append(p.Settings, e)
	}
	for _, i := range pressed(&j.Summary) {
		p.Buttons = append(p.Buttons, pageButton{j.Summary.Buttons[i], i})
	}
	t := j.Summary.Trend.Parts(trendParts)
	for i, x := range t.Slots {
		of, hits, kind := x.Multis, x.Covered, "covered"
		if j.Setup.Target.Anchored {
			of, hits, kind = x.Tries, x.Hits, "hit"
		}
		if of > 0 {
			p.Trend = append(p.Trend, trendPoint{sec(t.From + t.Width*int64(i) + t.Width/2), review.NewRate(kind, hits, of)})
		}
	}
	for _, m := range j.Scan.Marks[:min(len(j.Scan.Marks), maxMarks)] {
		p.Marks = append(p.Marks, pageMark{sec(m.At), int64(c.At(m.At)), m.Text})
	}
	for _, v := range j.Scan.Videos {
		e := pageVideo{Name: v.Name, Size: v.Size, Offset: sec(v.Offset)}
		if rate, err := frame.NewRate(int64(v.Num), int64(v.Den)); v.Den > 0 && err == nil {
			e.Rate = rate.String()
		}
		p.Videos = append(p.Videos, e)
	}
	seen := map[string]bool{}
	for _, d := range j.Scan.Devices {
		if d.Attached && !seen[d.Device.Name] && len(seen) < 20 {
			seen[d.Device.Name] = true
			p.Devices = append(p.Devices, d.Device.Name)
		}
	}
	if rep := j.Scan.Report; !rep.Whole() || rep.NotRecorded > 0 {
		p.Notes = append(p.Notes, rep.String())
	}
	if j.Skipped > 0 {
		p.Notes = append(p.Notes, "Some of the take was played with other buttons bound; it is judged by other settings: choose them below.")
	}
	return p
}

// maxMarks bounds the marks that a page shows.
const maxMarks = 2000

func (j *Judged) judging() pageJudging {
	s, t := &j.Setup, &j.Setup.Target
	p := pageJudging{Settings: j.Part + 1, Rate: s.Rate.String(), Read: s.Rule.String(), Window: int64(t.Window),
		Early: t.Rules.EarlyText(), Hold: int64(t.Rules.Hold), Target: t.Name, Button: "any", Starter: "none"}
	if s.Phase != nil {
		ms := float64(*s.Phase) / 1e6
		p.Phase = &ms
	}
	if t.Wanted != session.AnyButton {
		p.Button = s.Layout.Buttons[t.Wanted].Label
	}
	if t.Anchored {
		p.Starter, p.Opening = s.Layout.Buttons[t.Starter].Label, int64(t.Opening)
	}
	return p
}
