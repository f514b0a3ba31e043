package importing

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"weald/ingest"
	"weald/ingest/capture"
)

// Options says how a recording is imported.
type Options struct {
	// Most is how many problems and how many steps of clocks the account
	// shows; the totals are always whole.
	Most int

	// Progress is told now and then how far the work has come, of 0 to 1;
	// nil for nobody.
	Progress func(bytes int64, share float64)
}

// The shares of the work: reading is all that people see, but playing what was
// written takes time too.
const readShare = 0.6

// File imports the recording at in of bridge b to a new capture at out. Where
// the recording holds nothing that could be taken, out is not made, and the
// account says so by its empty Output; that is no error.
//
// An error says why there is no new file: the recording cannot be read at all,
// out exists, ctx ended, the disk is full.
func File(ctx context.Context, b ingest.Bridge, in, out string, o Options) (*Account, error) {
	f, err := os.Open(in)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if _, err := os.Lstat(out); err == nil {
		return nil, fmt.Errorf("%s exists, and an import overwrites nothing", out)
	}
	draft, err := os.CreateTemp(filepath.Dir(out), "."+filepath.Base(out)+"-*.part")
	if err != nil {
		return nil, fmt.Errorf("beside %s: %w", out, err)
	}
	defer func() {
		draft.Close()
		os.Remove(draft.Name()) // fails where it has got its name, as it should
	}()
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = errors.New("it is a folder")
	}
	var a *Account
	if err == nil {
		a, err = draw(ctx, &b, f, info.Size(), draft, o)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", in, err)
	}
	a.Input = in
	if a.Written == 0 {
		return a, nil
	}
	if err := errors.Join(draft.Sync(), draft.Close()); err != nil {
		return nil, fmt.Errorf("%s: %w", out, err)
	}
	if err := publish(draft.Name(), out); err != nil {
		return nil, err
	}
	a.Output = out
	return a, nil
}

// draw reads a recording of so many bytes, writes the draft, and makes sure that
// both give the same scans.
func draw(ctx context.Context, b *ingest.Bridge, in io.ReadSeeker, size int64, draft io.ReadWriteSeeker, o Options) (*Account, error) {
	a := &Account{Bridge: b.ID, Format: string(b.Format.Kind), Bytes: size}
	var err error
	seed := maphash.MakeSeed()
	want, got := newDigest(len(b.Sources), seed), newDigest(len(b.Sources), seed)
	tell := func(begin, share float64, size int64) func(int64) {
		return func(n int64) {
			if o.Progress != nil {
				o.Progress(n, begin+share*min(float64(n)/float64(max(size, 1)), 1))
			}
		}
	}

	r := bufio.NewReaderSize(in, 1<<20)
	l := newLedger(a, b, o.Most)
	if a.Capture = capture.Begins(r); a.Capture {
		if a.Written, err = copyRecords(ctx, draft, r, b, a, o.Most); err != nil {
			return nil, err
		}
		if _, err := in.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		r.Reset(in)
		err = play(ctx, b, r, true, tell(0, readShare, a.Bytes), l, l.found, want)
	} else {
		to := &writer{to: draft, header: capture.Header{Bridge: b.ID, Format: a.Format}}
		p := newPieces(r, b, l, to.keep)
		if err = play(ctx, b, p, false, tell(0, readShare, a.Bytes), l, p.found, want); err == nil {
			err = p.settle()
		}
		if err == nil {
			a.Written, err = to.flush()
		}
	}
	if err != nil || a.Written == 0 {
		return a, err
	}
	if _, err := draft.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	again := newLedger(new(Account), b, 0)
	if err := play(ctx, b, draft, true, tell(readShare, 1-readShare, a.Written), again, func(ingest.Finding) {}, got); err != nil {
		return nil, fmt.Errorf("what was written cannot be read: %w", err)
	}
	if i := want.differs(got); i >= 0 {
		return nil, fmt.Errorf("the import would play otherwise than the original, in source %s: the original is to be used as it is", b.Sources[i].ID)
	}
	return a, nil
}

// play runs a recording and enters it into l and d. Damage to the records of a
// capture was told when they were copied.
func play(ctx context.Context, b *ingest.Bridge, r io.Reader, isCapture bool, progress func(int64), l *ledger, found func(ingest.Finding), d *digest) error {
	p, err := ingest.NewPlayback(*b, r, ingest.PlayOptions{Capture: isCapture, Progress: progress})
	if err != nil {
		return err
	}
	p.Watch(found)
	for s, err := range p.Scans(ctx) {
		var corrupt *capture.CorruptError
		switch {
		case errors.As(err, &corrupt) || errors.Is(err, capture.ErrTorn):
		case err != nil:
			return err
		default:
			d.add(l.scan(s), s)
		}
	}
	l.close(p.Status())
	return nil
}

// publish gives a finished draft its name, which nobody may have taken.
func publish(draft, out string) error {
	err := os.Link(draft, out)
	switch {
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s has come to exist meanwhile, and an import overwrites nothing", out)
	case err != nil:
		// The file system knows no second names, as on a memory card.
		if _, err := os.Lstat(out); err == nil {
			return fmt.Errorf("%s has come to exist meanwhile, and an import overwrites nothing", out)
		}
		if err := os.Rename(draft, out); err != nil {
			return err
		}
	}
	if dir, err := os.Open(filepath.Dir(out)); err == nil {
		_ = dir.Sync() // not every file system can; the file itself is on the disk
		dir.Close()
	}
	return nil
}
