// Package keepdeps holds module requirements while packages are written; removed before landing.
package keepdeps

import (
	_ "github.com/BurntSushi/toml"
	_ "github.com/chromedp/chromedp"
	_ "github.com/fsnotify/fsnotify"
	_ "github.com/gorilla/websocket"
	_ "github.com/holoplot/go-evdev"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/rs/zerolog"
	_ "github.com/spf13/cobra"
	_ "github.com/stretchr/testify/assert"
	_ "github.com/stretchr/testify/require"
	_ "go.uber.org/goleak"
	_ "golang.org/x/image/draw"
	_ "golang.org/x/image/font/opentype"
	_ "golang.org/x/net/websocket"
	_ "golang.org/x/sys/unix"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "pgregory.net/rapid"
	_ "rsc.io/qr"
)
