package desk

import (
	"fmt"
	"net/http"
	"strings"

	"rsc.io/qr"
)

// maxQR bounds what a code holds, in bytes; more would be too fine to be read off
// a screen.
const maxQR = 600

// quiet is the light border, in modules (ISO/IEC 18004 asks for four).
const quiet = 4

// qr draws a code with the text as dark squares on a light ground, whatever the
// page's colours: readers want it so.
func (d *Desk) qr(w http.ResponseWriter, r *http.Request) {
	text := r.URL.Query().Get("text")
	if text == "" || len(text) > maxQR {
		http.Error(w, fmt.Sprintf("a code of %d bytes: give text of 1 to %d bytes", len(text), maxQR), http.StatusBadRequest)
		return
	}
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		http.Error(w, fmt.Sprintf("making a code of %q: %v: shorten it", clip(text), err), http.StatusBadRequest)
		return
	}
	var b strings.Builder
	size := code.Size + 2*quiet
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %[1]d %[1]d" shape-rendering="crispEdges"><rect width="%[1]d" height="%[1]d" fill="#fff"/><path fill="#000" d="`, size)
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			n := 0
			for code.Black(x+n, y) {
				n++
			}
			if n > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, n, n)
				x += n
			}
		}
	}
	b.WriteString(`"/></svg>`)
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(b.String()))
}
