// Package flashtest shows that the strip harms nobody with flashing: it looks at
// frames drawn by Chromium, while the performer mashes as badly as it can, with
// the analyser of package overlay/flash. It has no code outside its tests.
package flashtest
