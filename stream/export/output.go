package export

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// An output is the files of one export. They appear together or not at all.
type output struct {
	folder  string
	replace bool
	parts   []*part
}

// A part is one file that is being written.
type part struct {
	*bufio.Writer
	f    *os.File
	path string // where it will be
	rows int64
}

// create begins a file that will be called name.
func (o *output) create(name string) (*part, error) {
	if filepath.Base(name) != name || name[0] == '.' {
		return nil, fmt.Errorf("file name %q: %w", name, fs.ErrInvalid)
	}
	path := filepath.Join(o.folder, name)
	if _, err := os.Lstat(path); err == nil && !o.replace {
		return nil, fmt.Errorf("%s: %w", path, fs.ErrExist)
	}
	f, err := os.CreateTemp(o.folder, "."+name+".*.partial")
	if err != nil {
		return nil, err
	}
	p := &part{Writer: bufio.NewWriterSize(f, 1<<18), f: f, path: path}
	o.parts = append(o.parts, p)
	return p, nil
}

// Whole makes one file of what write writes. It appears when it is whole; one that is
// there already is not replaced, which is fs.ErrExist.
func Whole(ctx context.Context, path string, write func(io.Writer) error) (File, error) {
	o := output{folder: filepath.Dir(path)}
	defer o.discard()
	p, err := o.create(filepath.Base(path))
	if err != nil {
		return File{}, err
	}
	if err := write(p); err != nil {
		return File{}, fmt.Errorf("%s: %w", path, err)
	}
	files, err := o.commit(ctx)
	if err != nil {
		return File{}, err
	}
	return files[0], nil
}

// commit makes all files durable and gives them their names, unless ctx has
// ended.
func (o *output) commit(ctx context.Context) ([]File, error) {
	var files []File
	for _, p := range o.parts {
		if err := errors.Join(p.Flush(), p.f.Sync()); err != nil {
			return nil, err
		}
		info, err := p.f.Stat()
		if err != nil {
			return nil, err
		}
		if err := p.f.Close(); err != nil {
			return nil, err
		}
		files = append(files, File{Path: p.path, Bytes: info.Size(), Rows: p.rows})
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	for i, p := range o.parts {
		if err := os.Rename(p.f.Name(), p.path); err != nil {
			for _, done := range o.parts[:i] {
				err = errors.Join(err, os.Remove(done.path))
			}
			return nil, err
		}
	}
	o.parts = nil
	return files, syncFolder(o.folder)
}

// discard removes what was not committed. It does nothing after a commit.
func (o *output) discard() {
	for _, p := range o.parts {
		// Both fail for a part that was closed or renamed before another
		// part went wrong, and then there is nothing left to do for it.
		_ = p.f.Close()
		_ = os.Remove(p.f.Name())
	}
}

// syncFolder makes names durable.
func syncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
