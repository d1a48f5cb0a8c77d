package realkernel

import (
	"context"
	"crypto/sha256"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"
)

//go:embed image.sh
var imageScript []byte

// guestImage returns a folder with what the guest needs of Debian's packages,
// made by the first call: the kernel, and the folder root with busybox and
// modules.
func guestImage(ctx context.Context) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	cache = filepath.Join(cache, "sweepd-realkernel")
	if err := os.MkdirAll(cache, 0o700); err != nil {
		return "", err
	}
	unlock, err := lock(ctx, filepath.Join(cache, "lock"))
	if err != nil {
		return "", err
	}
	defer unlock()
	key := sha256.Sum256(imageScript)
	image := filepath.Join(cache, fmt.Sprintf("image-%x", key[:6]))
	if _, err := os.Stat(image); err == nil {
		return image, nil
	}
	work := filepath.Join(cache, "work") // left over where an earlier call was killed
	if err := os.RemoveAll(work); err != nil {
		return "", err
	}
	defer os.RemoveAll(work)
	if err := os.Mkdir(work, 0o700); err != nil {
		return "", err
	}
	if _, err := command(ctx, work, "sh", "-c", string(imageScript)); err != nil {
		return "", err
	}
	return image, os.Rename(filepath.Join(work, "image"), image)
}

// lock waits for the lock file and returns what gives it back.
func lock(ctx context.Context, path string) (unlock func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	for {
		err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if err == nil {
			return func() { f.Close() }, nil
		}
		if !errors.Is(err, unix.EWOULDBLOCK) {
			f.Close()
			return nil, fmt.Errorf("lock %s: %w", path, err)
		}
		select {
		case <-ctx.Done():
			f.Close()
			return nil, fmt.Errorf("wait for lock %s: %w", path, ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}
