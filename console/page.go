package console

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"net/http"
	"strings"
	"sync"
)

//go:generate go -C ../deploy/tools run ./lean

// The page: text of our own that is served whole by the program. Script and style travel
// as deploy/tools/lean writes them: page.js and page.css without what only people read.
var (
	//go:embed page.html
	pageHTML []byte
	//go:embed lean/page.css
	pageCSS []byte
	//go:embed lean/page.js
	pageJS []byte
	//go:embed pair.html
	pairHTML []byte
	//go:embed pair.js
	pairJS []byte
)

// Paths of the parts of the page.
const (
	stylePath      = "/page.css"
	pairScriptPath = "/pair.js"
	pairPagePath   = "/pair"
)

const (
	htmlType   = "text/html; charset=utf-8"
	scriptType = "text/javascript; charset=utf-8"
)

// pageFiles are the parts of the page.
var pageFiles = map[string]http.HandlerFunc{
	stylePath:  embedded(pageCSS, "text/css; charset=utf-8", http.StatusOK),
	"/page.js": embedded(pageJS, scriptType, http.StatusOK),
	// For a browser on this device, which may do all but change what is kept.
	pairPagePath:   embedded(pairHTML, htmlType, http.StatusOK),
	pairScriptPath: embedded(pairJS, scriptType, http.StatusOK),
}

var (
	servePage     = embedded(pageHTML, htmlType, http.StatusOK)
	servePairPage = embedded(pairHTML, htmlType, http.StatusUnauthorized)
)

// embedded serves a text of the program's own: compressed where that is taken, and not at
// all where the browser has this one.
func embedded(text []byte, kind string, status int) http.HandlerFunc {
	tag := sync.OnceValue(func() string {
		sum := sha256.Sum256(text)
		return `"` + hex.EncodeToString(sum[:8]) + `"`
	})
	packed := sync.OnceValue(func() []byte {
		var b bytes.Buffer
		z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression) // the level is one that there is
		_, _ = z.Write(text)                                  // memory takes all
		_ = z.Close()
		return b.Bytes()
	})
	return func(w http.ResponseWriter, r *http.Request) {
		header := w.Header()
		header.Set("Content-Type", kind)
		header.Set("Cache-Control", "no-cache") // it is asked whether there is a newer one
		header.Set("Vary", "Accept-Encoding, Cookie")
		if status == http.StatusOK {
			header.Set("ETag", tag())
			if r.Header.Get("If-None-Match") == tag() {
				w.WriteHeader(http.StatusNotModified)
				return
			}
		}
		body := text
		if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			header.Set("Content-Encoding", "gzip")
			body = packed()
		}
		w.WriteHeader(status)
		_, _ = w.Write(body) // a client that hung up is its own affair
	}
}
