package frames

import (
	"bufio"
	"io"

	"golang.org/x/text/encoding/unicode"
)

// decodeText is a file as UTF-8 without a byte order mark. UTF-16 is known by its own.
func decodeText(r io.Reader) io.Reader {
	in := bufio.NewReaderSize(r, 1<<16)
	mark, _ := in.Peek(3)
	switch {
	case len(mark) >= 2 && (mark[0] == 0xff && mark[1] == 0xfe || mark[0] == 0xfe && mark[1] == 0xff):
		return unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Reader(in)
	case string(mark) == "\ufeff":
		_, _ = in.Discard(3)
	}
	return in
}
