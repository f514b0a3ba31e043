package sqlite

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// A reserve is a file of zeros that is deleted when the disk is full, so that
// entries have room for as long as a person needs to make some.
type reserve struct {
	path string
	size int64
}

// held reports whether the reserve is there, as large as it should be.
func (r *reserve) held() bool {
	info, err := os.Stat(r.path)
	return r.size == 0 || err == nil && info.Size() >= r.size
}

// hold makes the reserve if it is not there. Zeros are written, not skipped:
// only then are their places taken.
func (r *reserve) hold() error {
	if r.held() {
		return nil
	}
	f, err := os.OpenFile(r.path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return translate(err)
	}
	zeros := make([]byte, 1<<20)
	for left := r.size; left > 0 && err == nil; left -= int64(len(zeros)) {
		_, err = f.Write(zeros[:min(left, int64(len(zeros)))])
	}
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return translate(errors.Join(err, os.Remove(r.path)))
	}
	return syncDir(filepath.Dir(r.path))
}

// release gives the room away.
func (r *reserve) release() error {
	err := os.Remove(r.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// slack is how much more than the reserve has to be free before readings go on:
// they would otherwise stop again at once.
func (r *reserve) slack() int64 { return max(r.size/4, 1<<20) }

// free returns how many bytes the file system of a folder has left.
func free(dir string) (int64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return 0, err
	}
	return int64(st.Bavail) * int64(st.Bsize), nil
}
