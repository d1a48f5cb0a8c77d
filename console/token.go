package console

import (
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// tokenName is the file of the token in the folder of the data.
const tokenName = "api.token"

// Token is the right to change what an agent keeps: whoever can read its file has it,
// which are the agent's own user, root, and the group of the file. It is new each time
// that an agent starts. The zero value is nobody's right.
type Token struct{ path, text string }

// NewToken makes a token and its file in the folder of the data.
func NewToken(dir string) (t Token, err error) {
	t = Token{filepath.Join(dir, tokenName), rand.Text()}
	if err := writeToken(t.path, t.text+"\n"); err != nil {
		return Token{}, fmt.Errorf("the file of the right to change what is kept: %w", err)
	}
	return t, nil
}

// newFile is the file made anew, so that nobody who opened it before reads it, for its
// owner alone.
func newFile(path string) (*os.File, error) {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	return os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
}

// Path is that of the file.
func (t Token) Path() string { return t.path }

// Remove removes the file.
func (t Token) Remove() error { return os.Remove(t.path) }

// is tells whether a text is the token.
func (t Token) is(text string) bool {
	return t.text != "" && subtle.ConstantTimeCompare([]byte(t.text), []byte(text)) == 1
}
