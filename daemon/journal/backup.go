package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"go.etcd.io/bbolt"
)

// Backup writes a copy as of one moment, while others go on writing, verifies it and only
// then gives it its name. It overwrites nothing, fs.ErrExist, and leaves nothing under
// that name when it fails. The copy can be opened as it is.
func (j *Journal) Backup(ctx context.Context, path string) error {
	if err := j.backup(ctx, path); err != nil {
		return fmt.Errorf("back up to %s: %w", path, err)
	}
	return nil
}

func (j *Journal) backup(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fs.ErrExist
	}
	var want head
	temp, err := writeBeside(ctx, path, func(w io.Writer) error {
		return j.view(func(tx *bbolt.Tx) (err error) {
			if want, err = j.readHead(tx); err == nil {
				_, err = tx.WriteTo(w)
			}
			return err
		})
	})
	defer os.Remove(temp)
	if err != nil {
		return err
	}
	got, err := verifyFile(ctx, temp)
	if err != nil {
		return err
	}
	if got.Seq != want.seq || got.Hash != want.hash {
		return fmt.Errorf("the copy ends at entry %d, not at %d", got.Seq, want.seq)
	}
	return place(temp, path)
}

// Restore puts a verified copy of the backup from in the place to, where there must be no
// file, or an empty one: else fs.ErrExist. The backup stays as it is.
func Restore(ctx context.Context, from, to string) (Report, error) {
	r, err := restore(ctx, from, to)
	if err != nil {
		return r, fmt.Errorf("restore %s to %s: %w", from, to, err)
	}
	return r, nil
}

func restore(ctx context.Context, from, to string) (r Report, err error) {
	if info, err := os.Lstat(to); err == nil && info.Size() > 0 {
		return r, fs.ErrExist
	}
	source, err := os.Open(from)
	if err != nil {
		return r, err
	}
	defer source.Close()
	if err := lock(source, true); err != nil {
		return r, err // it is a journal in use
	}
	temp, err := writeBeside(ctx, to, func(w io.Writer) error {
		_, err := io.Copy(w, source)
		return err
	})
	defer os.Remove(temp)
	if err != nil {
		return r, err
	}
	if r, err = verifyFile(ctx, temp); err != nil {
		return r, err
	}
	return r, place(temp, to)
}

// writeBeside writes and syncs a file that can be renamed to path.
func writeBeside(ctx context.Context, path string, write func(io.Writer) error) (temp string, err error) {
	file, err := tempBeside(path)
	if err != nil {
		return "", err
	}
	w := &writer{ctx: ctx, w: file}
	if err = write(w); w.err != nil {
		err = w.err // bbolt keeps only its words
	}
	if err == nil {
		err = file.Sync()
	}
	return file.Name(), errors.Join(err, file.Close())
}

func verifyFile(ctx context.Context, path string) (Report, error) {
	j, err := OpenReadOnly(path)
	if err != nil {
		return Report{}, err
	}
	defer j.Close()
	return j.Verify(ctx, nil)
}

// A writer writes until the context ends, and keeps the error that stopped it.
type writer struct {
	ctx context.Context
	w   io.Writer
	err error
}

func (w *writer) Write(b []byte) (n int, err error) {
	if w.err = w.ctx.Err(); w.err == nil {
		n, w.err = w.w.Write(b)
	}
	return n, w.err
}
