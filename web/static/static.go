// Package static holds the pages: HTML, style sheets and plain ES modules, just
// as the browser reads them. There is no build step; types are JSDoc comments,
// checked with jsconfig.json.
//
// lib/ is what several pages share (messages, state, clock, flash governor,
// themes); each page has a folder of its own.
package static

import "embed"

// FS holds every page and module, rooted at this folder.
//
//go:embed *
var FS embed.FS
