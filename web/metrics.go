package web

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are told as OpenMetrics text at /metrics.
type metrics struct {
	handler http.Handler
	refused prometheus.Counter
}

func newMetrics(s *Server) *metrics {
	reg := prometheus.NewRegistry()
	m := &metrics{refused: prometheus.NewCounter(prometheus.CounterOpts{
		Name: "holdgap_pad_refused_total", Help: "Pad connections closed for breaking a rule."})}
	reg.MustRegister(m.refused, collectors.NewGoCollector())
	counter := func(name, help string, f func() float64) {
		reg.MustRegister(prometheus.NewCounterFunc(prometheus.CounterOpts{Name: name, Help: help}, f))
	}
	gauge := func(name, help string, f func() float64) {
		reg.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, f))
	}
	e := s.opts.Engine
	counter("holdgap_inputs_total", "Inputs from sources.", func() float64 { return float64(e.Counts().Inputs) })
	counter("holdgap_edges_total", "Edges of bound buttons.", func() float64 { return float64(e.Counts().Edges) })
	counter("holdgap_edges_late_total", "Edges that came behind the session's time and count for it.", func() float64 { return float64(e.Counts().Late) })
	counter("holdgap_updates_total", "Updates published.", func() float64 { return float64(e.Hub().Stats().Updates) })
	counter("holdgap_updates_delivered_total", "Updates queued for viewers.", func() float64 { return float64(e.Hub().Stats().Delivered) })
	counter("holdgap_viewer_resyncs_total", "Times a viewer fell behind and was told everything anew.", func() float64 { return float64(e.Hub().Stats().Resyncs) })
	gauge("holdgap_viewers", "Pages that watch.", func() float64 { return float64(e.Hub().Stats().Viewers) })
	gauge("holdgap_pads", "Pages that play.", func() float64 {
		s.mu.Lock()
		defer s.mu.Unlock()
		return float64(len(s.pads))
	})
	gauge("holdgap_devices", "Input devices in use.", func() float64 { return float64(len(e.Devices())) })
	h := promhttp.HandlerFor(reg, promhttp.HandlerOpts{EnableOpenMetrics: true})
	m.handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// One format for everybody: a browser asks for none of those there are.
		r = r.Clone(r.Context())
		r.Header.Set("Accept", "application/openmetrics-text; version=1.0.0")
		h.ServeHTTP(w, r)
	})
	return m
}
