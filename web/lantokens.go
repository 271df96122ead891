package web

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/BurntSushi/toml"
)

// tokenBytes are the random bytes of a token: 128 bits.
const tokenBytes = 16

func newToken() string {
	var b [tokenBytes]byte
	_, _ = rand.Read(b[:]) // it never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

type tokenFile struct {
	View    string `toml:"view"`
	Play    string `toml:"play"`
	Control string `toml:"control"`
}

// readTokens reads the tokens of a file; the error is [os.ErrNotExist] when there
// is none. A file that others could read is made private.
func readTokens(file string) (tokens [Control + 1]string, err error) {
	if file == "" {
		return tokens, os.ErrNotExist
	}
	fail := func(why any) ([Control + 1]string, error) {
		return tokens, fmt.Errorf("reading the tokens in %q: %v: delete the file, and new tokens are made", file, why)
	}
	info, err := os.Lstat(file)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return tokens, os.ErrNotExist
	case err != nil:
		return fail(err)
	case !info.Mode().IsRegular() || info.Size() > 4096:
		return fail("it is not a small file")
	}
	if err := private(file, info); err != nil {
		return fail(err)
	}
	var f tokenFile
	data, err := os.ReadFile(file)
	if err != nil {
		return fail(err)
	}
	meta, err := toml.Decode(string(data), &f)
	if err != nil {
		return fail(err)
	}
	if extra := meta.Undecoded(); len(extra) > 0 {
		return fail(fmt.Sprintf("unknown key %q", extra[0]))
	}
	tokens[View], tokens[Play], tokens[Control] = f.View, f.Play, f.Control
	for r := View; r <= Control; r++ {
		if b, err := base64.RawURLEncoding.DecodeString(tokens[r]); err != nil || len(b) != tokenBytes {
			return fail(fmt.Sprintf("the token for %s is not one that this program made", r))
		}
		for other := View; other < r; other++ {
			if tokens[r] == tokens[other] {
				return fail(fmt.Sprintf("the tokens for %s and %s are the same", other, r))
			}
		}
	}
	return tokens, nil
}

// writeTokens writes the file whole or not at all.
func writeTokens(file string, tokens [Control + 1]string) error {
	if file == "" {
		return nil
	}
	fail := func(err error) error {
		return fmt.Errorf("writing the tokens to %q: %w: make the folder writable, or choose another with the settings", file, err)
	}
	var b bytes.Buffer
	b.WriteString("# Whoever knows one of these may use the program from another machine. Keep them\n# to yourself; the desk makes new ones.\n")
	if err := toml.NewEncoder(&b).Encode(tokenFile{tokens[View], tokens[Play], tokens[Control]}); err != nil {
		return fail(err)
	}
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fail(err)
	}
	tmp, err := os.CreateTemp(dir, ".tokens-*") // mode 0600
	if err != nil {
		return fail(err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(b.Bytes())
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		return fail(err)
	}
	return nil
}
