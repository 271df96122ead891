package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"holdgap/themes"
)

// fontCache is how long a browser may keep a font: its name says family, script
// and weight, and its file never changes under that name.
const fontCache = "public, max-age=31536000, immutable"

// themeRoutes serves the themes of a store and the fonts that come with the
// program.
func themeRoutes(mux *http.ServeMux, store *themes.Store) {
	mux.HandleFunc("GET /themes.json", func(w http.ResponseWriter, _ *http.Request) {
		writeJSON(w, store.List())
	})
	mux.HandleFunc("GET /themes/{file}", func(w http.ResponseWriter, r *http.Request) {
		name, ok := strings.CutSuffix(r.PathValue("file"), ".json")
		t, known := store.Get(name)
		if !ok || !known {
			http.Error(w, fmt.Sprintf("there is no theme %q: /themes.json lists them", name), http.StatusNotFound)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		_, _ = w.Write(t.JSON())
	})
	files := http.StripPrefix("/fonts/", http.FileServerFS(themes.Fonts()))
	mux.HandleFunc("GET /fonts/{file}", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", fontCache)
		files.ServeHTTP(w, r)
	})
}

func writeJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(v)
}
