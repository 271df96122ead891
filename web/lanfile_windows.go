package web

import "os"

// private leaves a file as it is: the user's folder is private by its own list.
func private(string, os.FileInfo) error { return nil }
