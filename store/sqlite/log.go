package sqlite

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"
)

// ErrForeignLog is returned by Open where the write-ahead log beside a file is of
// another file: SQLite would take the log's pages for those of the file.
var ErrForeignLog = errors.New("the write-ahead log beside it is of another file")

// checkLog refuses a file with a write-ahead log that cannot be its own. SQLite writes
// nothing into a log that says whose it is. But a page beyond the end of the file has to
// be in the log, so that of an older file, which is shorter, pages are missing.
func checkLog(path string) error {
	for range logTries {
		before := look(path)
		if before[1].size == 0 {
			return nil
		}
		_, missing, err := readLog(path+"-wal", before[0].size)
		if err != nil || missing == 0 {
			return err
		}
		if before == look(path) {
			return fmt.Errorf("%w: page %d is in neither of them", ErrForeignLog, missing)
		}
		time.Sleep(logPause)
	}
	return nil // somebody is writing all the time, whose log it is then
}

// logTries is how often a log is looked at that does not fit while it changes.
const (
	logTries = 5
	logPause = 20 * time.Millisecond
)

// sizeAt is a file's size when it was changed last.
type sizeAt struct{ size, at int64 }

// look is how the file and its log are now.
func look(path string) (now [2]sizeAt) {
	for i, p := range []string{path, path + "-wal"} {
		if info, err := os.Stat(p); err == nil {
			now[i] = sizeAt{info.Size(), info.ModTime().UnixNano()}
		}
	}
	return now
}

// Sizes and magic numbers of a log (https://sqlite.org/fileformat2.html, 4.1).
const (
	logHeader   = 32
	frameHeader = 24
	logMagic    = 0x377f0682 // the lowest bit says that checksums go by big-endian words
	lockByte    = 1 << 30    // the page that holds it is never used
)

// readLog reads how many pages a file has as its log says, 0 where that says nothing, and
// which is the first that is neither in the file, of so many bytes, nor in the log; 0 where
// there is none. What was not committed does not count.
func readLog(path string, size int64) (pages, missing int64, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, 0, nil
	} else if err != nil {
		return 0, 0, err
	}
	defer f.Close()
	l, err := newLogReader(f)
	if err != nil || l == nil {
		return 0, 0, err
	}
	inLog, uncommitted := map[int64]bool{}, []int64{}
	for {
		page, after, err := l.next()
		if errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return 0, 0, err
		}
		if uncommitted = append(uncommitted, page); after == 0 {
			continue
		}
		for _, p := range uncommitted {
			inLog[p] = true
		}
		uncommitted, pages = uncommitted[:0], after
	}
	for p := size/l.pageSize + 1; p <= pages; p++ {
		if !inLog[p] && p != lockByte/l.pageSize+1 {
			return pages, p, nil
		}
	}
	return pages, 0, nil
}

// logReader reads the frames of a log as far as they are valid.
type logReader struct {
	r        *bufio.Reader
	words    binary.ByteOrder
	pageSize int64
	salt     [8]byte
	sum      [2]uint32
	page     []byte
}

// newLogReader reads the header; nil where the log has none that is valid.
func newLogReader(r io.Reader) (*logReader, error) {
	l := &logReader{r: bufio.NewReaderSize(r, 1<<16)}
	h := make([]byte, logHeader)
	if _, err := io.ReadFull(l.r, h); err != nil {
		return nil, atEnd(err)
	}
	magic := binary.BigEndian.Uint32(h)
	l.pageSize = int64(binary.BigEndian.Uint32(h[8:]))
	if magic&^1 != logMagic || l.pageSize < 512 || l.pageSize > 65536 || l.pageSize&(l.pageSize-1) != 0 {
		return nil, nil
	}
	l.words = binary.LittleEndian
	if magic&1 != 0 {
		l.words = binary.BigEndian
	}
	l.add(h[:24])
	if l.sum != sumIn(h[24:]) {
		return nil, nil
	}
	copy(l.salt[:], h[16:])
	l.page = make([]byte, l.pageSize)
	return l, nil
}

// atEnd is nil where there was no more to read.
func atEnd(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}

// next is the page of the next frame and, where it ends a transaction, the pages that
// the file has then; io.EOF where there is no more that is valid.
func (l *logReader) next() (page, after int64, err error) {
	h := make([]byte, frameHeader)
	for _, part := range [][]byte{h, l.page} {
		if _, err := io.ReadFull(l.r, part); err != nil {
			if err = atEnd(err); err == nil {
				err = io.EOF
			}
			return 0, 0, err
		}
	}
	l.add(h[:8])
	l.add(l.page)
	if [8]byte(h[8:16]) != l.salt || l.sum != sumIn(h[16:]) {
		return 0, 0, io.EOF
	}
	return int64(binary.BigEndian.Uint32(h)), int64(binary.BigEndian.Uint32(h[4:])), nil
}

// add goes on with the checksum (fileformat2.html, 4.2).
func (l *logReader) add(data []byte) {
	for ; len(data) > 0; data = data[8:] {
		l.sum[0] += l.words.Uint32(data) + l.sum[1]
		l.sum[1] += l.words.Uint32(data[4:]) + l.sum[0]
	}
}

func sumIn(data []byte) [2]uint32 {
	return [2]uint32{binary.BigEndian.Uint32(data), binary.BigEndian.Uint32(data[4:])}
}
